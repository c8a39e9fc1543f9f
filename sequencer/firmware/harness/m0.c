/* The drive on a Cortex-M0+ without an operating system: called with registers set by the emulator. */
#include "drive.h"

void m0_drive(const uint8_t *in, uint8_t *out, uint32_t count);

static struct follow box;

void m0_drive(const uint8_t *in, uint8_t *out, uint32_t count)
{
    for (; count > 0u; count--, in += DRIVE_IN, out += DRIVE_OUT) drive(&box, in, out);
}
