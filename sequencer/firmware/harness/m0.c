/* The drive on a Cortex-M0+ without an operating system: called with registers set by the emulator. */
#include <stddef.h>
#include "drive.h"

void m0_drive(const uint8_t *in, uint8_t *out, uint32_t count);
void *memset(void *to, int value, size_t bytes);
void __aeabi_memclr(void *to, size_t bytes);
void __aeabi_memclr4(void *to, size_t bytes);
void __aeabi_memset(void *to, size_t bytes, int value);

static struct follow box;

void m0_drive(const uint8_t *in, uint8_t *out, uint32_t count)
{
    for (; count > 0u; count--, in += DRIVE_IN, out += DRIVE_OUT) drive(&box, in, out);
}

/* What a compiler may call to clear memory, where no C library is linked. */
void *memset(void *to, int value, size_t bytes)
{
    volatile uint8_t *byte = to;
    for (; bytes > 0u; bytes--) *byte++ = (uint8_t)value;
    return to;
}
void __aeabi_memclr(void *to, size_t bytes) { (void)memset(to, 0, bytes); }
void __aeabi_memclr4(void *to, size_t bytes) { (void)memset(to, 0, bytes); }
void __aeabi_memset(void *to, size_t bytes, int value) { (void)memset(to, value, bytes); }
