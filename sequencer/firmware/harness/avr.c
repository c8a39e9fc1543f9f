/* The drive on an 8-bit AVR: the simulator is told by writes to spare registers when a batch record may be exchanged. */
#include <avr/io.h>
#include <stddef.h>
#include "drive.h"

typedef char state_stands_at_six[offsetof(struct follow, state) == 6u ? 1 : -1]; /* the bound on cycles looks for it there */

volatile uint8_t drive_in[DRIVE_IN], drive_out[DRIVE_OUT];
static struct follow box;

int main(void)
{
    for (;;) {
        GPIOR0 = 1; /* the simulator puts the next operation into drive_in, or stops here */
        drive(&box, (const uint8_t *)drive_in, (uint8_t *)drive_out);
        GPIOR0 = 2; /* the simulator takes drive_out */
    }
}
