/* What sets of faults reach in a slice, in layers; which of it leads to a breach. See `closing.py` and `following.py`. */
#include <stdlib.h>
#include <string.h>
#include "kernel.h"

/* Nothing explored yet. parts: numbers of the smaller sets within each set, from parts_first[set] on. */
struct closing *closing_make(const struct view *view, const int64_t *parts_first, const int64_t *parts)
{
    struct closing *k = calloc(1, sizeof *k);
    if (!k) return NULL;
    k->view = view;
    k->parts_first = parts_first;
    k->parts = parts;
    if (words_make(&k->known, 2048)) {
        free(k);
        return NULL;
    }
    return k;
}

void closing_drop(struct closing *k)
{
    words_drop(&k->known);
    free(k->fresh);
    free(k->spare);
    free(k->bounds);
    free(k);
}

/* Take note of a word that neither this level nor a smaller set has. */
static int note(struct closing *k, word w)
{
    const struct view *v = k->view;
    const int new = words_know(&k->known, w);
    if (new <= 0) return new;
    const int64_t set = set_of(v, w);
    const word bare = w & ~((((word)1 << v->shift) - 1) & ~(((word)1 << v->tag) - 1));
    for (int64_t i = k->parts_first[set]; i < k->parts_first[set + 1]; i++)
        if (words_find(&k->known, bare | (word)k->parts[i] << v->tag) >= 0) return 0;
    if (k->fresh_count == k->fresh_room) {
        const int64_t room = k->fresh_room ? 2 * k->fresh_room : 4096;
        word *more = realloc(k->fresh, (size_t)room * sizeof *more);
        if (!more) return -1;
        k->fresh = more;
        k->fresh_room = room;
    }
    k->fresh[k->fresh_count++] = w;
    return 0;
}

/* Make a layer of what was noted: sorted, judged, without the words of broken sets but for those that break them. */
static int layer(struct closing *k, struct court *c)
{
    const int64_t n = k->fresh_count, room = 2 * n + 16;
    if (k->spare_room < room) {
        free(k->spare);
        k->spare = malloc((size_t)room * sizeof *k->spare);
        k->spare_room = k->spare ? room : 0;
        if (!k->spare) return -1;
    }
    words_sort(k->fresh, n, k->spare);
    uint8_t *last = (uint8_t *)k->spare;
    memset(last, 0, (size_t)n);
    judge_words(k->view, c, k->fresh, n, last);
    for (int64_t i = 0; i < n; i++)
        if ((last[i] || !c->broken[set_of(k->view, k->fresh[i])]) && words_keep(&k->known, k->fresh[i])) return -1;
    if (k->layers == k->layers_room) {
        const int64_t more = k->layers_room ? 2 * k->layers_room : 64;
        int64_t *bounds = realloc(k->bounds, (size_t)more * sizeof *bounds);
        if (!bounds) return -1;
        k->bounds = bounds;
        k->layers_room = more;
    }
    k->bounds[k->layers++] = k->known.count;
    k->fresh_count = 0;
    return 0;
}

/* What sorted words of a smaller level become by rows that a larger set brings. gain: [need][sets] as `enough`; starts,
 * counts: [need][sets of the lower level, from `first` on] into `targets`; live: sets asked for. */
int closing_seed(struct closing *k, struct court *c, const word *at, int64_t count, const uint8_t *gain, const uint8_t *able,
                 const int64_t *starts, const int64_t *counts, const int64_t *targets, int64_t first, int64_t width, const uint8_t *live)
{
    const struct view *v = k->view;
    const word tags = (((word)1 << v->shift) - 1) & ~(((word)1 << v->tag) - 1);
    for (int64_t i = 0; i < count; i++) {
        const int64_t place = (int64_t)(at[i] >> v->shift), set = set_of(v, at[i]);
        for (int64_t row = v->first[place], end = row + v->count[place]; row < end; row++) {
            if ((at[i] & v->care[row]) != v->want[row] || !able[v->need[row]] || !may(v, row, at[i], set, gain)) continue;
            const int64_t cell = v->need[row] * width + set - first;
            for (int64_t t = starts[cell]; t < starts[cell] + counts[cell]; t++) {
                if (!live[targets[t]]) continue;
                const word lifted = (at[i] & ~tags) | (word)targets[t] << v->tag;
                const word image = (lifted & v->keep[row]) | v->put[row];
                if (!judge(v, c, row, lifted, image) && note(k, image)) return -1;
            }
        }
    }
    return 0;
}

/* Begin a level with what was noted, and `seeds`. Number of words kept. */
int64_t closing_begin(struct closing *k, struct court *c, const word *seeds, int64_t count)
{
    const int64_t begin = k->known.count;
    for (int64_t i = 0; i < count; i++)
        if (note(k, seeds[i])) return -1;
    return layer(k, c) ? -1 : k->known.count - begin;
}

/* The next layer: what the words from `at` on become by the rows of the slice. Number of words kept. */
int64_t closing_step(struct closing *k, struct court *c, int64_t at)
{
    const struct view *v = k->view;
    const int64_t end = k->known.count;
    for (; at < end; at++) {
        const word w = k->known.at[at];
        const int64_t place = (int64_t)(w >> v->shift), set = set_of(v, w);
        for (int64_t row = v->first[place], stop = row + v->count[place]; row < stop; row++) {
            if ((w & v->care[row]) != v->want[row] || !may(v, row, w, set, v->enough)) continue;
            const word image = (w & v->keep[row]) | v->put[row];
            k->taken++;
            if (!judge(v, c, row, w, image) && note(k, image)) return -1;
        }
    }
    if (layer(k, c)) return -1;
    if (k->known.count == end) k->layers--;
    return k->known.count - end;
}

/* A whole level. Number of words kept, -2 beyond the budget. */
int64_t closing_close(struct closing *k, struct court *c, const word *seeds, int64_t count, int64_t budget)
{
    const int64_t begin = k->known.count;
    int64_t new = closing_begin(k, c, seeds, count);
    while (new > 0) {
        new = closing_step(k, c, k->known.count - new);
        if (new > 0 && k->known.count - begin > budget) return -2;
    }
    return new < 0 ? new : k->known.count - begin;
}

/* Rows taken so far, of all levels. */
int64_t closing_taken(const struct closing *k)
{
    return k->taken;
}

/* Put sorted words in as they are. */
int closing_put(struct closing *k, const word *at, int64_t count)
{
    for (int64_t i = 0; i < count; i++)
        if (words_know(&k->known, at[i]) < 0 || words_keep(&k->known, at[i])) return -1;
    return 0;
}

/* Number of layers of all levels; bounds, if given: where each ends among the words kept. */
int64_t closing_layers(const struct closing *k, int64_t *bounds)
{
    if (bounds) memcpy(bounds, k->bounds, (size_t)k->layers * sizeof *bounds);
    return k->layers;
}

/* The words kept from `begin` on, layer by layer, each layer sorted. */
void closing_words(const struct closing *k, word *at, int64_t begin)
{
    memcpy(at, k->known.at + begin, (size_t)(k->known.count - begin) * sizeof *at);
}

/* Which bad cubes of the rule the image of some row breaks, of all words kept. hit: per bad cube. */
void closing_hits(const struct closing *k, const struct view *v, uint8_t *hit)
{
    for (int64_t at = 0; at < k->known.count; at++) {
        const word w = k->known.at[at];
        const int64_t place = (int64_t)(w >> v->shift);
        for (int64_t row = v->first[place], stop = row + v->count[place]; row < stop; row++) {
            if ((w & v->care[row]) != v->want[row] || !may(v, row, w, 0, v->enough)) continue;
            const word image = (w & v->keep[row]) | v->put[row];
            const uint8_t *const oks = v->oks + v->ok[row] * v->bads;
            for (int64_t bad = 0; bad < v->bads; bad++)
                if (oks[bad] && !hit[bad] && (image & v->bad_care[bad]) == v->bad_want[bad] && begun(v, bad, w)) hit[bad] = 1;
        }
    }
}

/* Mark the words that lie on a shortest way to a goal: backwards through the layers. on: per word kept. */
void ways_shortest(const struct closing *k, const word *goals, int64_t count, uint8_t *on)
{
    const struct view *v = k->view;
    for (int64_t i = 0; i < count; i++) {
        const int64_t at = words_find(&k->known, goals[i]);
        if (at >= 0) on[at] = 1;
    }
    for (int64_t depth = k->layers - 1; depth > 0; depth--) {
        for (int64_t at = depth > 1 ? k->bounds[depth - 2] : 0; at < k->bounds[depth - 1]; at++) {
            const word w = k->known.at[at];
            const int64_t place = (int64_t)(w >> v->shift), set = set_of(v, w);
            for (int64_t row = v->first[place], stop = row + v->count[place]; row < stop && !on[at]; row++) {
                if ((w & v->care[row]) != v->want[row] || !may(v, row, w, set, v->enough)) continue;
                const int64_t to = words_find(&k->known, (w & v->keep[row]) | v->put[row]);
                if (to >= k->bounds[depth - 1] && to < k->bounds[depth] && on[to]) on[at] = 1;
            }
        }
    }
}

/* Steps from every word kept to the nearest goal, -1 where none can be reached. far: per word kept. */
int ways_all(const struct closing *k, const word *goals, int64_t count, int32_t *far)
{
    const struct view *v = k->view;
    const int64_t n = k->known.count;
    int answer = -1;
    int64_t *ends = calloc((size_t)n + 1, sizeof *ends), total = 0, room = 4 * n + 1024, done = 0, last = 0;
    int32_t *queue = malloc((size_t)(n + 1) * sizeof *queue), *from = malloc((size_t)room * sizeof *from);
    int32_t *to = malloc((size_t)room * sizeof *to), *sources = NULL;
    if (!ends || !queue || !from || !to) goto short_of;
    for (int64_t at = 0; at < n; at++) {
        const word w = k->known.at[at];
        const int64_t place = (int64_t)(w >> v->shift), set = set_of(v, w);
        for (int64_t row = v->first[place], stop = row + v->count[place]; row < stop; row++) {
            if ((w & v->care[row]) != v->want[row] || !may(v, row, w, set, v->enough)) continue;
            const int64_t image = words_find(&k->known, (w & v->keep[row]) | v->put[row]);
            if (image < 0) continue;
            if (total == room) {
                int32_t *more = realloc(from, 2 * (size_t)room * sizeof *more);
                if (more) from = more;
                int32_t *many = realloc(to, 2 * (size_t)room * sizeof *many);
                if (many) to = many;
                if (!more || !many) goto short_of;
                room *= 2;
            }
            from[total] = (int32_t)at;
            to[total++] = (int32_t)image;
            ends[image]++;
        }
    }
    sources = malloc((size_t)(total + 1) * sizeof *sources);
    if (!sources) goto short_of;
    for (int64_t at = 1; at <= n; at++) ends[at] += ends[at - 1];
    for (int64_t i = total - 1; i >= 0; i--) sources[--ends[to[i]]] = from[i];
    for (int64_t at = 0; at < n; at++) far[at] = -1;
    for (int64_t i = 0; i < count; i++) {
        const int64_t at = words_find(&k->known, goals[i]);
        if (at >= 0 && far[at] < 0) far[at] = 0, queue[last++] = (int32_t)at;
    }
    for (; done < last; done++) {
        for (int64_t i = ends[queue[done]]; i < ends[queue[done] + 1]; i++) {
            if (far[sources[i]] >= 0) continue;
            far[sources[i]] = far[queue[done]] + 1;
            queue[last++] = sources[i];
        }
    }
    answer = 0;
short_of:
    free(ends);
    free(sources);
    free(queue);
    free(from);
    free(to);
    return answer;
}
