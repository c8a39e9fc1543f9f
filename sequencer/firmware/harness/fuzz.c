/* A fuzzer's door: the table is whatever bytes come, its checksum is not asked, and then scans are run on the rest of
 * the bytes. Anything read or written out of bounds, or undefined, is the sanitizers' to find. `follow_table`
 * loses its `const` in this build, so that it can change. */
#include <stddef.h>
#include <string.h>
#include "follow.h"

uint8_t follow_table[FOLLOW_SIZE];
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct follow box;
    size_t used = size < FOLLOW_SIZE ? size : FOLLOW_SIZE;
    memset(follow_table, 0, FOLLOW_SIZE);
    memcpy(follow_table, data, used);
    data += used;
    size -= used;
    follow_start(&box, FOLLOW_POWER_ON);
    for (int scans = 0; scans < 40; scans++) {
        uint8_t *inputs = (uint8_t *)&box + offsetof(struct follow, contacts); /* contacts, links, words: side by side */
        size_t bytes = offsetof(struct follow, words) + sizeof box.words - offsetof(struct follow, contacts);
        size_t step = size < bytes ? size : bytes;
        box.code = FOLLOW_FINE; /* go on, though the table is damaged */
        memcpy(inputs, data, step);
        data += step;
        size -= step;
        follow_scan(&box);
        (void)follow_record(&box);
    }
    return 0;
}
