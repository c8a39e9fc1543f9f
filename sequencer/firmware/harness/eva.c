/* For the abstract interpreter: any table bytes, any memory, any inputs; `follow_table` loses its `const` in this build, so
 * that its bytes may be anything. What holds for a scan of any memory holds for any number of scans. */
#include "follow.c" /* one unit: no copies of the functions in follow_table.h that nobody calls */
#include "__fc_builtin.h"
uint8_t follow_table[FOLLOW_SIZE];
int main(void);
static struct follow box;
int main(void)
{
    Frama_C_make_unknown((char *)follow_table, sizeof follow_table);
    follow_start(&box, Frama_C_interval(0, 255));
    (void)follow_record(&box);
    Frama_C_make_unknown((char *)&box, sizeof box);
    follow_scan(&box);
    (void)follow_record(&box);
    return 0;
}
