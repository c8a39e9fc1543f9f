/* For the abstract interpreter: any table bytes, any inputs, any number of scans; `follow_table` loses its `const` in
 * this build, so that its bytes may be anything. */
#include "follow.h"
#include "__fc_builtin.h"
uint8_t follow_table[FOLLOW_SIZE];
int main(void);
static struct follow box;
int main(void)
{
    Frama_C_make_unknown((char *)follow_table, sizeof follow_table);
    follow_start(&box, Frama_C_interval(0, 255));
    while (Frama_C_interval(0, 1)) {
        Frama_C_make_unknown((char *)box.contacts, sizeof box.contacts);
        Frama_C_make_unknown((char *)box.heard, sizeof box.heard);
        Frama_C_make_unknown((char *)box.words, sizeof box.words);
        if (Frama_C_interval(0, 1)) box.code = FOLLOW_FINE;
        follow_scan(&box);
        (void)follow_record(&box);
    }
    return 0;
}
