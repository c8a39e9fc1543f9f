/* The drive as a program: operations on standard input, trace records on standard output. For sanitizers, which want
 * a program of their own. */
#include <stdio.h>
#include "drive.h"

int main(void)
{
    static struct follow box;
    static uint8_t in[DRIVE_IN], out[DRIVE_OUT];
    while (fread(in, 1, sizeof in, stdin) == sizeof in) {
        drive(&box, in, out);
        if (fwrite(out, 1, sizeof out, stdout) != sizeof out) return 1;
    }
    return 0;
}
