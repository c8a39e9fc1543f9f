/* An example main: read, scan, write, feed the watchdog, log. All that touches hardware is in board.h. */
#include "board.h"

static struct follow box;

static void log_it(void)
{
    uint8_t record[FOLLOW_RECORD];
    follow_record(&box, record);
    board_log(record, FOLLOW_RECORD);
}

static void write_all(void)
{
    for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) board_write(i, box.outputs[i]);
}

int main(void)
{
    follow_start(&box, board_start());
    write_all();
    log_it();
    for (;;) {
        uint8_t code = box.code;
        board_wait();
        board_read(&box);
        follow_scan(&box);
        write_all();
        board_watchdog(); /* also at rest: a box that found its table damaged stays at rest, it does not start over */
        if (box.moved || box.code != code) log_it();
    }
}
