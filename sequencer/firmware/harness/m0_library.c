/* What a compiler may call to clear memory, where no C library is linked. */
#include <stddef.h>
#include <stdint.h>

void *memset(void *to, int value, size_t bytes);
void __aeabi_memclr(void *to, size_t bytes);
void __aeabi_memclr4(void *to, size_t bytes);
void __aeabi_memset(void *to, size_t bytes, int value);

void *memset(void *to, int value, size_t bytes)
{
    volatile uint8_t *byte = to;
    for (; bytes > 0u; bytes--) *byte++ = (uint8_t)value;
    return to;
}
void __aeabi_memclr(void *to, size_t bytes) { (void)memset(to, 0, bytes); }
void __aeabi_memclr4(void *to, size_t bytes) { (void)memset(to, 0, bytes); }
void __aeabi_memset(void *to, size_t bytes, int value) { (void)memset(to, value, bytes); }
