/* A small door to libsimavr for ctypes: load an ELF file, exchange records at writes to GPIOR0, count cycles between
 * writes to GPIOR1, and carry bytes to and from the first serial port. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <fcntl.h>
#include <unistd.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_io.h>
#include <simavr/avr_uart.h>

enum { GPIOR0_AT = 0x3E, GPIOR1_AT = 0x4A };

struct simulator {
    avr_t *avr;
    const uint8_t *in;
    uint8_t *out;
    uint32_t in_step, out_step, in_at, out_at, left;
    uint64_t began;
    uint32_t least, most, counted;
    uint64_t sum;
    int stopped;
    uint8_t heard[65536];
    uint32_t heard_count, room;
};

static void on_exchange(avr_t *avr, avr_io_addr_t at, uint8_t value, void *param)
{
    struct simulator *s = param;
    avr->data[at] = value;
    if (value == 1) {
        if (s->left == 0u) {
            s->stopped = 1;
            return;
        }
        memcpy(avr->data + s->in_at, s->in, s->in_step);
        s->in += s->in_step;
    } else if (value == 2) {
        memcpy(s->out, avr->data + s->out_at, s->out_step);
        s->out += s->out_step;
        s->left--;
    }
}

static void on_mark(avr_t *avr, avr_io_addr_t at, uint8_t value, void *param)
{
    struct simulator *s = param;
    avr->data[at] = value;
    if (value) {
        s->began = avr->cycle;
    } else {
        uint32_t spent = (uint32_t)(avr->cycle - s->began);
        if (spent > s->most) s->most = spent;
        if (spent < s->least) s->least = spent;
        s->sum += spent;
        s->counted++;
    }
}

static void on_byte(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct simulator *s = param;
    (void)irq;
    if (s->heard_count < sizeof s->heard) s->heard[s->heard_count++] = (uint8_t)value;
}

static void on_room(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct simulator *s = param;
    (void)irq;
    (void)value;
    s->room = 1;
}

static void on_full(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct simulator *s = param;
    (void)irq;
    (void)value;
    s->room = 0;
}

void *simulator_open(const char *elf, const char *chip, uint32_t hertz, uint32_t ram_from)
{
    struct simulator *s = calloc(1, sizeof *s);
    elf_firmware_t firmware;
    uint32_t flags = 0;
    int screen, nowhere;
    fflush(stdout); /* the library tells on standard output what it loads */
    screen = dup(1);
    nowhere = open("/dev/null", O_WRONLY);
    dup2(nowhere, 1);
    close(nowhere);
    memset(&firmware, 0, sizeof firmware);
    s->avr = avr_make_mcu_by_name(chip);
    if (!s->avr || elf_read_firmware(elf, &firmware)) {
        free(s);
        s = NULL;
    } else {
        avr_init(s->avr);
        s->avr->log = 0;
        firmware.frequency = hertz;
        avr_load_firmware(s->avr, &firmware);
    }
    fflush(stdout);
    dup2(screen, 1);
    close(screen);
    if (!s) return NULL;
    avr_register_io_write(s->avr, GPIOR0_AT, on_exchange, s);
    avr_register_io_write(s->avr, GPIOR1_AT, on_mark, s);
    avr_ioctl(s->avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(s->avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(s->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, s);
    avr_irq_register_notify(avr_io_getirq(s->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), on_room, s);
    avr_irq_register_notify(avr_io_getirq(s->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), on_full, s);
    s->room = 1;
    s->least = UINT32_MAX;
    for (uint32_t at = ram_from; at <= s->avr->ramend; at++) s->avr->data[at] = 0xA5; /* to see how far the stack came */
    return s;
}

/* Run `count` operations; 0 when all were answered, else the simulator's state. */
int simulator_drive(void *opaque, const uint8_t *in, uint32_t in_step, uint32_t in_at, uint8_t *out, uint32_t out_step,
                    uint32_t out_at, uint32_t count)
{
    struct simulator *s = opaque;
    int resuming = s->stopped;
    s->in = in, s->in_step = in_step, s->in_at = in_at;
    s->out = out, s->out_step = out_step, s->out_at = out_at, s->left = count;
    if (resuming && count) { /* it stands just behind its request */
        memcpy(s->avr->data + s->in_at, s->in, s->in_step);
        s->in += s->in_step;
    }
    s->stopped = 0;
    while (!s->stopped) {
        int state = avr_run(s->avr);
        if (state == cpu_Done || state == cpu_Crashed) return state;
    }
    return 0;
}

/* Send `line` to the serial port and collect what comes back up to `end`; returns its length, at most `room` bytes. */
uint32_t simulator_talk(void *opaque, const uint8_t *line, uint32_t length, uint8_t end, uint8_t *answer, uint32_t room,
                        uint64_t cycles)
{
    struct simulator *s = opaque;
    avr_irq_t *input = avr_io_getirq(s->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    uint64_t until = s->avr->cycle + cycles;
    uint32_t sent = 0;
    s->heard_count = 0;
    while (s->avr->cycle < until && (s->heard_count == 0u || s->heard[s->heard_count - 1u] != end)) {
        int state;
        if (sent < length && s->room) avr_raise_irq(input, line[sent++]);
        state = avr_run(s->avr);
        if (state == cpu_Done || state == cpu_Crashed) break;
    }
    if (room > s->heard_count) room = s->heard_count;
    memcpy(answer, s->heard, room);
    return room;
}

void simulator_cycles(void *opaque, uint32_t figures[3])
{
    struct simulator *s = opaque;
    figures[0] = s->least;
    figures[1] = s->counted ? (uint32_t)(s->sum / s->counted) : 0u;
    figures[2] = s->most;
}

/* Bytes of RAM from `ram_from` on that were never written. */
uint32_t simulator_untouched(void *opaque, uint32_t ram_from)
{
    struct simulator *s = opaque;
    uint32_t at = ram_from;
    while (at <= s->avr->ramend && s->avr->data[at] == 0xA5) at++;
    return at - ram_from;
}

void simulator_close(void *opaque)
{
    struct simulator *s = opaque;
    avr_terminate(s->avr);
    free(s);
}
