/* The drive as a library on this machine. */
#include "drive.h"

void drive_all(const uint8_t *in, uint8_t *out, uint32_t count);
uint32_t drive_ram(void);

static struct follow box;

/* `count` operations, one after the other; the first of a run has to be a reset. */
void drive_all(const uint8_t *in, uint8_t *out, uint32_t count)
{
    for (; count > 0u; count--, in += DRIVE_IN, out += DRIVE_OUT) drive(&box, in, out);
}

uint32_t drive_ram(void) { return (uint32_t)sizeof box; }
