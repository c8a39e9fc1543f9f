/* The whole system led along a slice's ways to a breach. See `following.py`. */
#include <stdlib.h>
#include <string.h>
#include "kernel.h"

/* What a search has looked at: words, and from which word and by which row each was reached (row -1: where it began). */
struct search {
    const struct view *view;
    struct runs runs;        /* from words of the whole system to words of the slice, places and sets included */
    struct words ways, seen; /* the slice's words on ways; of the whole system */
    const int32_t *far;      /* per word on a way: steps left to the breach */
    word *source;
    int32_t *row, *next;
    int64_t room;
};

struct step {
    word to, from;
    int32_t row, far;
};

static word through(const struct runs *runs, word w)
{
    word made = 0;
    for (int64_t i = 0; i < runs->count; i++) made |= (w >> runs->from[i] & runs->mask[i]) << runs->to[i];
    return made;
}

static int32_t left(const struct search *s, word w)
{
    const int64_t at = words_find(&s->ways, through(&s->runs, w));
    return at < 0 ? -1 : s->far[at];
}

static int by_word(const void *a, const void *b)
{
    const word x = ((const struct step *)a)->to, y = ((const struct step *)b)->to;
    return (x > y) - (x < y);
}

static int keep(struct search *s, const struct step *step)
{
    const int64_t at = s->seen.count;
    if (at == s->room) {
        const int64_t room = s->room ? 2 * s->room : 4096;
        word *source = realloc(s->source, (size_t)room * sizeof *source);
        if (source) s->source = source;
        int32_t *row = realloc(s->row, (size_t)room * sizeof *row);
        if (row) s->row = row;
        int32_t *next = realloc(s->next, (size_t)room * sizeof *next);
        if (next) s->next = next;
        if (!source || !row || !next) return -1;
        s->room = room;
    }
    s->source[at] = step->from;
    s->row[at] = step->row;
    return words_keep(&s->seen, step->to);
}

void search_drop(struct search *s)
{
    words_drop(&s->ways);
    words_drop(&s->seen);
    free(s->source);
    free(s->row);
    free(s->next);
    free(s);
}

/* Nothing searched yet. ways, far: words of the slice on ways to a breach, and their steps left. */
struct search *search_make(const struct view *view, const struct runs *runs, const word *ways, const int32_t *far, int64_t count)
{
    struct search *s = calloc(1, sizeof *s);
    if (!s) return NULL;
    s->view = view;
    s->runs = *runs;
    s->far = far;
    int fine = !words_make(&s->ways, count) && !words_make(&s->seen, 4096);
    for (int64_t i = 0; fine && i < count; i++) fine = words_know(&s->ways, ways[i]) >= 0 && !words_keep(&s->ways, ways[i]);
    if (fine) return s;
    search_drop(s);
    return NULL;
}

/* Search from sorted words until every set that has any has broken, nothing is left, or `most` words (-1: no end) were
 * looked at; per set those of the fewest steps left go first, at most `at_once` of them. deep: more than any steps left.
 * Number of words seen; -2 beyond the budget. */
int64_t search_run(struct search *s, struct court *c, const word *begin, int64_t count, int64_t deep, int64_t at_once, int64_t most, int64_t budget)
{
    const struct view *v = s->view;
    const int64_t cells = v->sets * deep;
    int32_t *head = malloc((size_t)cells * sizeof *head), *tail = malloc((size_t)cells * sizeof *tail);
    int64_t steps = 0, room = count + 4096, front_room = 4096, answer = -1;
    struct step *step = malloc((size_t)room * sizeof *step);
    word *front = malloc(2 * (size_t)front_room * sizeof *front);
    uint8_t *last = NULL;
    if (!head || !tail || !step || !front) goto out;
    for (int64_t i = 0; i < cells; i++) head[i] = -1;
    for (int64_t i = 0; i < count; i++) {
        const int32_t far = left(s, begin[i]);
        if (far < 0) continue;
        const int new = words_know(&s->seen, begin[i]);
        if (new < 0) goto out;
        if (new) step[steps++] = (struct step){ begin[i], 0, -1, far };
    }
    for (;;) {
        if (most >= 0 && s->seen.count >= most) break;
        const int64_t from = s->seen.count;
        for (int64_t i = 0; i < steps; i++) {
            const int64_t cell = set_of(v, step[i].to) * deep + step[i].far;
            const int32_t at = (int32_t)s->seen.count;
            if (keep(s, &step[i])) goto out;
            s->next[at] = -1;
            if (head[cell] < 0) head[cell] = at;
            else s->next[tail[cell]] = at;
            tail[cell] = at;
        }
        if (s->seen.count > budget) {
            answer = -2;
            goto out;
        }
        uint8_t *more = realloc(last, (size_t)steps + 1);
        if (!more) goto out;
        last = more;
        judge_words(v, c, s->seen.at + from, steps, last);
        int64_t many = 0;
        for (int64_t set = 0; set < v->sets; set++) {
            if (c->broken[set]) continue;
            int64_t cell = set * deep;
            while (cell < (set + 1) * deep && head[cell] < 0) cell++;
            if (cell == (set + 1) * deep) continue;
            if (many + at_once > front_room) {
                front_room = 2 * front_room + at_once;
                word *larger = realloc(front, 2 * (size_t)front_room * sizeof *front);
                if (!larger) goto out;
                front = larger;
            }
            for (int64_t i = 0; i < at_once && head[cell] >= 0; i++, head[cell] = s->next[head[cell]]) front[many++] = s->seen.at[head[cell]];
        }
        if (!many) break;
        words_sort(front, many, front + front_room);
        steps = 0;
        for (int64_t i = 0; i < many; i++) {
            const word w = front[i];
            const int64_t place = (int64_t)(w >> v->shift), set = set_of(v, w);
            for (int64_t row = v->first[place], end = row + v->count[place]; row < end; row++) {
                if ((w & v->care[row]) != v->want[row] || !may(v, row, w, set, v->enough)) continue;
                const word image = (w & v->keep[row]) | v->put[row];
                judge(v, c, row, w, image);
                const int32_t far = left(s, image);
                const int new = far < 0 ? 0 : words_know(&s->seen, image);
                if (new < 0) goto out;
                if (!new) continue;
                if (steps == room) {
                    struct step *larger = realloc(step, 2 * (size_t)room * sizeof *step);
                    if (!larger) goto out;
                    step = larger;
                    room *= 2;
                }
                step[steps++] = (struct step){ image, w, (int32_t)row, far };
            }
        }
        qsort(step, (size_t)steps, sizeof *step, by_word);
    }
    answer = s->seen.count;
out:
    free(head);
    free(tail);
    free(step);
    free(front);
    free(last);
    return answer;
}

/* The words seen, as they came. */
void search_words(const struct search *s, word *at)
{
    memcpy(at, s->seen.at, (size_t)s->seen.count * sizeof *at);
}

/* The word and the row by which a word was reached; row -1 where the search began, -2 for a word that was not seen. */
int64_t search_before(const struct search *s, word w, word *source)
{
    const int64_t at = words_find(&s->seen, w);
    if (at < 0) return -2;
    *source = s->source[at];
    return s->row[at];
}

/* Words as a slice sees them, each kind once, in the order in which they come up. which: the kind of each word. Their
 * number, -1 when memory is short; kinds: room for `count` words. */
int64_t kinds_seen(const struct runs *runs, const word *at, int64_t count, int32_t *which, word *kinds)
{
    struct words set;
    int64_t answer = -1;
    if (words_make(&set, 4096)) goto out;
    for (int64_t i = 0; i < count; i++) {
        const word w = through(runs, at[i]);
        const int new = words_know(&set, w);
        if (new < 0 || (new && words_keep(&set, w))) goto out;
        which[i] = (int32_t)words_find(&set, w);
    }
    memcpy(kinds, set.at, (size_t)set.count * sizeof *kinds);
    answer = set.count;
out:
    words_drop(&set);
    return answer;
}
