/* The runtime as a library whose table and memory a test may damage; `follow_table` loses its `const` in this build. */
#include <string.h>
#include "follow.h"

void *box_at(void);
uint8_t *table_at(void);
uint32_t box_size(void);
void box_start(uint8_t cause);
void box_scan(void);
void box_record(uint8_t *record);
uint8_t box_code(void);
void box_outputs(uint8_t *outputs);
void box_set_state(uint8_t state, uint8_t mirror);

static struct follow box;

void *box_at(void) { return &box; }
uint8_t *table_at(void) { return (uint8_t *)follow_table; }
uint32_t box_size(void) { return (uint32_t)sizeof box; }
void box_start(uint8_t cause) { follow_start(&box, cause); }
void box_scan(void) { follow_scan(&box); }
void box_record(uint8_t *record) { memcpy(record, follow_record(&box), FOLLOW_RECORD); }
uint8_t box_code(void) { return box.code; }

void box_outputs(uint8_t *outputs)
{
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) outputs[i] = box.outputs[i];
}

void box_set_state(uint8_t state, uint8_t mirror)
{
    box.state = state;
    box.mirror = mirror;
}
