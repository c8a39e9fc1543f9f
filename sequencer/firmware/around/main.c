/* An example main: read, scan, write, feed the watchdog, log. All that touches hardware is in board.h. */
#include "board.h"

static struct follow box;

int main(void)
{
    follow_start(&box, board_start());
    for (;;) {
        for (uint8_t i = 0; i != FOLLOW_OUTPUTS; i++) board_write(i, box.outputs[i]);
        board_watchdog(); /* also at rest: a box that found its table damaged stays at rest, it does not start over */
        if (box.tell) board_log(follow_record(&box), FOLLOW_RECORD);
        board_wait();
        board_read(&box);
        follow_scan(&box);
    }
}
