/* kernel: the inner loops of the proof, for the arrays of `slices.py`, `closing.py` and `following.py`.
 * Every function does what the numpy code beside its caller does, to the same words in the same order; a test holds them
 * together. Words are 64-bit: [place | number of the set of faults | kept bits]. Nothing is kept between calls but what a
 * `closing` or a `search` holds, which the caller makes and drops. Arrays of the caller stay his; they must live as long as
 * what was made with them. Functions that need memory return -1 (or no closing, no search) when it is short. */
#ifndef KERNEL_H
#define KERNEL_H
#include <stdint.h>

typedef uint64_t word;

/* Sorted by place: the rows of a slice, and what its rule judges. Owner: the caller, who keeps all arrays alive. */
struct view {
    const word *care, *want, *keep, *put;           /* per row */
    const int64_t *need, *ok, *held, *first, *count; /* need, kind of judgement, group of cubes per row; rows per place */
    const word *held_care, *held_want;              /* [group][held_most]: under which a row may not be taken */
    const uint8_t *enough;                          /* [need][sets]: under which sets rows may be taken */
    const uint8_t *oks;                             /* [kind of judgement][bads] */
    const word *bad_care, *bad_want;                /* per bad cube of a scan */
    const int64_t *origin_first;                    /* [bad][2]: its origins, from and to; from -1: it is not about a start */
    const word *origin_care, *origin_want;          /* what it must have been before, and at which places */
    const uint8_t *origin_places, *world_places;    /* [origin][places]; [world][places] */
    const word *world_care, *world_want;            /* per bad cube of a word itself */
    int64_t held_most, sets, bads, worlds, places, shift, tag;
};

/* The first breach of every set. Owner: the caller. row: -1 where the word itself breaks the rule. */
struct court {
    uint8_t *broken;
    word *image, *source;
    int64_t *row;
};

/* Runs of neighbouring bits: `mask` (from bit 0) at `from` goes to `to`. */
struct runs {
    const int64_t *from, *to;
    const word *mask;
    int64_t count;
};

/* Words in the order in which they were kept, and a table from a word to its index. A slot holds the word, and 0 where it is
 * empty, 1 for a word that is known but was not kept, else two more than its index. */
struct words {
    word *at, *keys;
    int32_t *index;
    int64_t count, room, size, used;
};

/* One slice's exploration, level by level: `bounds` are the ends of its layers among the words that were kept. */
struct closing {
    const struct view *view;
    const int64_t *parts_first, *parts; /* [sets + 1]: the smaller sets within each */
    struct words known;
    word *fresh, *spare;
    int64_t fresh_count, fresh_room, spare_room;
    int64_t *bounds, layers, layers_room, taken;
};

int words_make(struct words *set, int64_t guess);
void words_drop(struct words *set);
int64_t words_find(const struct words *set, word w); /* index, or -1 */
int words_know(struct words *set, word w);           /* 1: new, 0: known before */
int words_keep(struct words *set, word w);           /* give a known word the next index */
void words_sort(word *at, int64_t count, word *spare);

/* Whether some row may be taken from w under a set. */
static inline int may(const struct view *v, int64_t row, word w, int64_t set, const uint8_t *enough)
{
    const int64_t group = v->held[row];
    if (!enough[v->need[row] * v->sets + set]) return 0;
    if (group) {
        const word *care = v->held_care + group * v->held_most, *want = v->held_want + group * v->held_most;
        for (int64_t i = 0; i < v->held_most; i++)
            if ((w & care[i]) == want[i]) return 0;
    }
    return 1;
}

static inline int64_t set_of(const struct view *v, word w)
{
    return (int64_t)((w & (((word)1 << v->shift) - 1)) >> v->tag);
}

int begun(const struct view *v, int64_t bad, word source);
int judge(const struct view *v, struct court *c, int64_t row, word source, word image);
void judge_words(const struct view *v, struct court *c, const word *at, int64_t count, uint8_t *last);
#endif
