/* Conformance drive: a batch of operations in, a trace record per operation out. The same source on every target. */
#ifndef FOLLOW_DRIVE_H
#define FOLLOW_DRIVE_H
#include "follow.h"
#if defined(__AVR__)
#include <avr/io.h>
#define DRIVE_MARK(inside) (GPIOR1 = (inside)) /* the simulator counts cycles between two marks */
#else
#define DRIVE_MARK(inside) ((void)0)
#endif
#define DRIVE_INPUT (2u * FOLLOW_ANALOGS + FOLLOW_CONTACTS + FOLLOW_HEARTBEATS)
#define DRIVE_IN (1u + (DRIVE_INPUT > 9u ? DRIVE_INPUT : 9u)) /* bytes of one operation: kind, then its data */
#define DRIVE_OUT (2u + FOLLOW_RECORD + FOLLOW_OUTPUTS)       /* bytes of one trace record */
enum { DRIVE_SCAN, DRIVE_PLACE, DRIVE_RESET };
void drive(struct follow *f, const uint8_t *in, uint8_t *out);
#endif
