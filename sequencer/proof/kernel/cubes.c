/* Unions of cubes with fewer of them, many at once. See `cubes.py`. */
#include <stdlib.h>
#include <string.h>
#include "kernel.h"

struct cube {
    word care, want;
};

/* Some cubes, each once, with a table to find them by. */
struct cubes {
    struct cube *at;
    int32_t *slot;
    int64_t count, room, size;
};

static int64_t slot_of(const struct cubes *set, struct cube c)
{
    word mixed = (c.care ^ c.want * 0xC2B2AE3D27D4EB4Fu) * 0x9E3779B97F4A7C15u;
    int64_t at = (int64_t)((mixed ^ mixed >> 29) & (word)(set->size - 1));
    while (set->slot[at] && (set->at[set->slot[at] - 1].care != c.care || set->at[set->slot[at] - 1].want != c.want))
        at = (at + 1) & (set->size - 1);
    return at;
}

static int64_t index_of(const struct cubes *set, struct cube c)
{
    return set->size ? (int64_t)set->slot[slot_of(set, c)] - 1 : -1;
}

static int add(struct cubes *set, struct cube c)
{
    if (4 * set->count >= set->size) {
        const int64_t size = set->size ? 4 * set->size : 64, room = size / 4 + 1;
        struct cube *at = realloc(set->at, (size_t)room * sizeof *at);
        if (at) set->at = at;
        int32_t *slot = calloc((size_t)size, sizeof *slot);
        if (!at || !slot) {
            free(slot);
            return -1;
        }
        free(set->slot);
        set->slot = slot;
        set->size = size;
        set->room = room;
        for (int64_t i = 0; i < set->count; i++) set->slot[slot_of(set, set->at[i])] = (int32_t)i + 1;
    }
    const int64_t at = slot_of(set, c);
    if (!set->slot[at]) {
        set->at[set->count++] = c;
        set->slot[at] = (int32_t)set->count;
    }
    return 0;
}

static void empty(struct cubes *set)
{
    if (set->size) memset(set->slot, 0, (size_t)set->size * sizeof *set->slot);
    set->count = 0;
}

static int by_cube(const void *a, const void *b)
{
    const struct cube *x = a, *y = b;
    return x->care != y->care ? (x->care > y->care) - (x->care < y->care) : (x->want > y->want) - (x->want < y->want);
}

/* Join what differs in one bit, drop what lies in another, once. 1: something changed, 0: nothing did. */
static int once(struct cubes *now, struct cubes *next)
{
    uint8_t *used = calloc((size_t)now->count + 1, 1), *within = NULL;
    const int64_t before = now->count;
    int answer = -1, same = 1;
    empty(next);
    if (!used) return -1;
    for (int64_t i = 0; i < now->count; i++) {
        const struct cube c = now->at[i];
        for (word left = c.care & ~c.want; left; left &= left - 1) {
            const word bit = left & ~(left - 1);
            const int64_t other = index_of(now, (struct cube){ c.care, c.want | bit });
            if (other < 0) continue;
            used[i] = used[other] = 1;
            if (add(next, (struct cube){ c.care ^ bit, c.want })) goto out;
        }
    }
    for (int64_t i = 0; i < now->count; i++)
        if (!used[i] && add(next, now->at[i])) goto out;
    within = calloc((size_t)next->count + 1, 1);
    if (!within) goto out;
    for (int64_t i = 0; i < next->count; i++) {
        for (int64_t j = 0; j < next->count && !within[i]; j++) {
            const struct cube a = next->at[j], b = next->at[i];
            within[i] = i != j && !(a.care & ~b.care) && (b.want & a.care) == a.want;
        }
    }
    const int64_t many = next->count;
    struct cube *const all = next->at;
    int64_t kept = 0;
    for (int64_t i = 0; i < many; i++) {
        if (within[i]) continue;
        same &= index_of(now, all[i]) >= 0;
        all[kept++] = all[i];
    }
    next->count = 0;
    memset(next->slot, 0, (size_t)next->size * sizeof *next->slot);
    for (int64_t i = 0; i < kept; i++)
        if (add(next, all[i])) goto out;
    answer = !(same && kept == before);
out:
    free(used);
    free(within);
    return answer;
}

/* Every group of cubes with fewer, sorted. ends: of the groups, of what was given and of what is made; room: of the made.
 * -2: there is more than that. */
int cubes_join(const word *care, const word *want, int64_t *ends, int64_t groups, word *made_care, word *made_want, int64_t room)
{
    struct cubes now = { 0 }, next = { 0 };
    int64_t from = 0, made = 0;
    int answer = -1;
    for (int64_t group = 0; group < groups; group++) {
        empty(&now);
        for (int64_t i = from; i < ends[group]; i++)
            if (add(&now, (struct cube){ care[i], want[i] })) goto out;
        from = ends[group];
        for (int changed = now.count > 1; changed;) {
            changed = once(&now, &next);
            if (changed < 0) goto out;
            const struct cubes other = now;
            now = next;
            next = other;
            if (now.count < 2) break;
        }
        if (made + now.count > room) {
            answer = -2;
            goto out;
        }
        qsort(now.at, (size_t)now.count, sizeof *now.at, by_cube);
        for (int64_t i = 0; i < now.count; i++, made++) made_care[made] = now.at[i].care, made_want[made] = now.at[i].want;
        ends[group] = made;
    }
    answer = 0;
out:
    free(now.at);
    free(now.slot);
    free(next.at);
    free(next.slot);
    return answer;
}
