/* Words as a set with an order, their sorting, and what a rule judges of them. See kernel.h. */
#include <stdlib.h>
#include <string.h>
#include "kernel.h"

static int64_t place_in(const struct words *set, word w)
{
    word mixed = (w ^ w >> 31) * 0x9E3779B97F4A7C15u;
    int64_t at = (int64_t)((mixed ^ mixed >> 29) & (word)(set->size - 1));
    while (set->index[at] && set->keys[at] != w) at = (at + 1) & (set->size - 1);
    return at;
}

int words_make(struct words *set, int64_t guess)
{
    int64_t size = 1024;
    while (size < 2 * guess) size *= 2;
    *set = (struct words){ .size = size };
    set->keys = calloc((size_t)size, sizeof *set->keys);
    set->index = calloc((size_t)size, sizeof *set->index);
    if (set->keys && set->index) return 0;
    words_drop(set);
    return -1;
}

void words_drop(struct words *set)
{
    free(set->at);
    free(set->keys);
    free(set->index);
    *set = (struct words){ 0 };
}

int64_t words_find(const struct words *set, word w)
{
    const int64_t at = place_in(set, w);
    return set->index[at] > 1 ? (int64_t)set->index[at] - 2 : -1;
}

static int grow(struct words *set)
{
    struct words larger = { .size = 2 * set->size };
    larger.keys = calloc((size_t)larger.size, sizeof *larger.keys);
    larger.index = calloc((size_t)larger.size, sizeof *larger.index);
    if (!larger.keys || !larger.index) return -1;
    for (int64_t i = 0; i < set->size; i++) {
        if (!set->index[i]) continue;
        const int64_t at = place_in(&larger, set->keys[i]);
        larger.keys[at] = set->keys[i];
        larger.index[at] = set->index[i];
    }
    free(set->keys);
    free(set->index);
    set->keys = larger.keys;
    set->index = larger.index;
    set->size = larger.size;
    return 0;
}

int words_know(struct words *set, word w)
{
    int64_t at = place_in(set, w);
    if (set->index[at]) return 0;
    if (2 * ++set->used > set->size) {
        if (grow(set)) return -1;
        at = place_in(set, w);
    }
    set->keys[at] = w;
    set->index[at] = 1;
    return 1;
}

int words_keep(struct words *set, word w)
{
    if (set->count == set->room) {
        const int64_t room = set->room ? 2 * set->room : 1024;
        word *more = realloc(set->at, (size_t)room * sizeof *more);
        if (!more) return -1;
        set->at = more;
        set->room = room;
    }
    set->at[set->count] = w;
    set->index[place_in(set, w)] = (int32_t)++set->count + 1;
    return 0;
}

/* By bytes, the least first; a byte that is the same everywhere is passed over. */
void words_sort(word *at, int64_t count, word *spare)
{
    word differ = 0;
    word *const begin = at;
    for (int64_t i = 1; i < count; i++) differ |= at[i] ^ at[0];
    for (int shift = 0; shift < 64; shift += 8) {
        int64_t place[256] = { 0 }, next = 0;
        if (!(differ >> shift & 0xFF)) continue;
        for (int64_t i = 0; i < count; i++) place[at[i] >> shift & 0xFF]++;
        for (int i = 0; i < 256; i++) {
            const int64_t many = place[i];
            place[i] = next;
            next += many;
        }
        for (int64_t i = 0; i < count; i++) spare[place[at[i] >> shift & 0xFF]++] = at[i];
        word *const other = at;
        at = spare;
        spare = other;
    }
    if (at != begin) memcpy(begin, at, (size_t)count * sizeof *at);
}

/* Whether a bad cube that is about a start is begun from this word. */
int begun(const struct view *v, int64_t bad, word source)
{
    const int64_t place = (int64_t)(source >> v->shift);
    if (v->origin_first[2 * bad] < 0) return 1;
    for (int64_t i = v->origin_first[2 * bad]; i < v->origin_first[2 * bad + 1]; i++)
        if (v->origin_places[i * v->places + place] && (source & v->origin_care[i]) == v->origin_want[i]) return 1;
    return 0;
}

/* Judge an image of a row that may be taken; whether its set is broken, now or before. */
int judge(const struct view *v, struct court *c, int64_t row, word source, word image)
{
    const int64_t set = set_of(v, image);
    const uint8_t *const oks = v->oks + v->ok[row] * v->bads;
    if (c->broken[set]) return 1;
    if (!v->ok[row]) return 0;
    for (int64_t bad = 0; bad < v->bads; bad++) {
        if (oks[bad] && (image & v->bad_care[bad]) == v->bad_want[bad] && begun(v, bad, source)) {
            c->broken[set] = 1;
            c->image[set] = image;
            c->source[set] = source;
            c->row[set] = row;
            return 1;
        }
    }
    return 0;
}

/* Judge sorted new words themselves. last: those that break a rule. */
void judge_words(const struct view *v, struct court *c, const word *at, int64_t count, uint8_t *last)
{
    for (int64_t world = 0; world < v->worlds; world++) {
        for (int64_t i = 0; i < count; i++) {
            const int64_t set = set_of(v, at[i]);
            if (c->broken[set] || (at[i] & v->world_care[world]) != v->world_want[world]) continue;
            if (!v->world_places[world * v->places + (int64_t)(at[i] >> v->shift)]) continue;
            c->broken[set] = 1;
            c->image[set] = at[i];
            c->source[set] = 0;
            c->row[set] = -1;
            last[i] = 1;
        }
    }
}

/* Within groups of rows (at `order`, beginning at `starts`): those that a row which needs the same, or nothing, covers are
 * alive no more. Groups beyond `most` comparisons are left as they are. */
void rows_cover(const word *care, const word *want, const word *need, const int64_t *order, const int64_t *starts, int64_t groups,
                int64_t count, int64_t most, uint8_t *alive)
{
    for (int64_t group = 0; group < groups; group++) {
        const int64_t begin = starts[group], end = group + 1 < groups ? starts[group + 1] : count;
        int64_t wide = 0;
        int same = 1;
        for (int64_t i = begin; i < end; i++) {
            same &= need[order[i]] == need[order[begin]];
            wide += need[order[i]] == 0;
        }
        if (same) wide = end - begin;
        if (wide * (end - begin) > most) continue;
        for (int64_t i = begin; i < end; i++) {
            const int64_t row = order[i];
            if (!same && need[row]) continue;
            const word c = care[row], w = want[row] & c;
            for (int64_t j = begin; j < end; j++) {
                const int64_t other = order[j];
                if (j != i && !(c & ~care[other]) && (want[other] & c) == w) alive[other] = 0;
            }
        }
    }
}

static int alike(const word *keys, int64_t lines, int64_t count, int64_t a, int64_t b)
{
    for (int64_t line = 0; line < lines; line++)
        if (keys[line * count + a] != keys[line * count + b]) return 0;
    return 1;
}

/* Columns of a table that are equal. group: of each column, numbered as they come up; first: of each group, a column.
 * Number of groups. */
int64_t rows_group(const word *keys, int64_t lines, int64_t count, int64_t *group, int64_t *first)
{
    int64_t size = 64, groups = 0;
    while (size < 2 * count) size *= 2;
    int32_t *slot = calloc((size_t)size, sizeof *slot);
    if (!slot) return -1;
    for (int64_t i = 0; i < count; i++) {
        word mixed = 0;
        for (int64_t line = 0; line < lines; line++) {
            mixed = (mixed ^ keys[line * count + i]) * 0x9E3779B97F4A7C15u;
            mixed ^= mixed >> 29;
        }
        int64_t at = (int64_t)(mixed & (word)(size - 1));
        while (slot[at] && !alike(keys, lines, count, first[slot[at] - 1], i)) at = (at + 1) & (size - 1);
        if (!slot[at]) {
            first[groups++] = i;
            slot[at] = (int32_t)groups;
        }
        group[i] = slot[at] - 1;
    }
    free(slot);
    return groups;
}

/* Columns in the order of the ranks of their groups. starts: where each rank begins. */
void rows_order(const int64_t *group, int64_t count, const int64_t *rank, int64_t groups, int64_t *starts, int64_t *order)
{
    int64_t next = 0;
    for (int64_t i = 0; i < groups; i++) starts[i] = 0;
    for (int64_t i = 0; i < count; i++) starts[rank[group[i]]]++;
    for (int64_t i = 0; i < groups; i++) {
        const int64_t many = starts[i];
        starts[i] = next;
        next += many;
    }
    for (int64_t i = 0; i < count; i++) order[starts[rank[group[i]]]++] = i;
    for (int64_t i = groups - 1; i > 0; i--) starts[i] = starts[i - 1];
    if (groups) starts[0] = 0;
}
