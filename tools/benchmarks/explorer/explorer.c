/* A hand-written explorer of the proof's rows: what a compiled program can do on this machine with the same system.

   explorer FILE MODE TURNS    MODE: fresh | delta | again
   FILE is little-endian 64-bit words, written by benchmarks/explorer/model.py:
     bits below the place, kept mask (what a scan says goes), places,
     count and starts,
     count and bad cubes (place mask as 4 words, care, want, after a scan?, begins?, count of sources and each: place mask, care, want),
     count and sound rows, count of sets and for each: count and rows.
   A row: place, care, want, keep, put, idle?, count of `unless` and each (care, want), count of bad cubes it is judged on and each number.

   fresh: everything from the starts.   delta: fresh, then every set by what its rows add.   again: every set from the starts.
   Prints JSON. Words are kept in an open hash table, visited in the order found; nothing is sorted. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

typedef uint64_t word;
typedef struct { word places[4], care, want; } Cube;
typedef struct { Cube cube; int after, begins, sources; Cube *source; } Bad;
typedef struct { word place, care, want, keep, put; int idle, held, judged; word *unless; int *bads; } Row;
typedef struct { int count; Row *rows; int *first; /* per place, rows sorted by place */ } Rows;
typedef struct { word *slot, *list; size_t size, count, room; } Words;

static word *in, shift, kept;
static int places, bads, starts;
static word *start;
static Bad *bad;
static word broken;
static long transitions;

static void die(const char *why) { fprintf(stderr, "explorer: %s\n", why); exit(1); }
static void *room(size_t bytes) { void *p = malloc(bytes ? bytes : 1); if (!p) die("no memory"); return p; }
static double now(void) { struct timespec t; clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t); return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec; }

static long peak(void) { /* KiB; getrusage would count what the caller held before this program was loaded */
    char line[256];
    long kib = 0;
    FILE *f = fopen("/proc/self/status", "r");
    while (f && fgets(line, sizeof line, f)) if (sscanf(line, "VmHWM: %ld", &kib) == 1) break;
    if (f) fclose(f);
    return kib;
}

/* ---- sets of words: slot 0 means empty, so that words are kept plus one ---- */
static size_t at(const Words *w, word x) {
    size_t i = (size_t)((x * 0x9E3779B97F4A7C15u) >> 20) & (w->size - 1);
    while (w->slot[i] && w->slot[i] != x + 1) i = (i + 1) & (w->size - 1);
    return i;
}
static Words words(size_t size) {
    Words w = {calloc(size, sizeof(word)), room(size / 2 * sizeof(word)), size, 0, size / 2};
    if (!w.slot) die("no memory");
    return w;
}
static void drop(Words *w) { free(w->slot); free(w->list); }
static int has(const Words *w, word x) { return w->slot[at(w, x)] != 0; }
static int add(Words *w, word x) {
    size_t i = at(w, x);
    if (w->slot[i]) return 0;
    if (w->count == w->room) {
        Words more = words(w->size * 2);
        for (size_t k = 0; k < w->count; k++) { more.slot[at(&more, w->list[k])] = w->list[k] + 1; more.list[k] = w->list[k]; }
        more.count = w->count;
        drop(w);
        *w = more;
        i = at(w, x);
    }
    w->slot[i] = x + 1;
    w->list[w->count++] = x;
    return 1;
}

/* ---- reading the model ---- */
static Cube cube(void) { Cube c; for (int i = 0; i < 4; i++) c.places[i] = *in++; c.care = *in++; c.want = *in++; return c; }
static int inside(const Cube *c, word x) {
    word p = x >> shift;
    return (c->places[p >> 6] >> (p & 63) & 1) && (x & c->care) == c->want;
}
static int by_place(const void *a, const void *b) { const Row *x = a, *y = b; return x->place < y->place ? -1 : x->place > y->place; }
static Rows rows(void) {
    Rows r = {(int)*in++, 0, 0};
    r.rows = room(sizeof(Row) * (size_t)r.count);
    r.first = calloc((size_t)places + 1, sizeof(int));
    for (int i = 0; i < r.count; i++) {
        Row *w = &r.rows[i];
        w->place = *in++; w->care = *in++; w->want = *in++; w->keep = *in++; w->put = *in++; w->idle = (int)*in++;
        w->held = (int)*in++; w->unless = in; in += 2 * w->held;
        w->judged = (int)*in++; w->bads = room(sizeof(int) * (size_t)w->judged);
        for (int k = 0; k < w->judged; k++) w->bads[k] = (int)*in++;
    }
    qsort(r.rows, (size_t)r.count, sizeof(Row), by_place);
    for (int i = 0; i < r.count; i++) r.first[r.rows[i].place + 1]++;
    for (int p = 0; p < places; p++) r.first[p + 1] += r.first[p];
    return r;
}

/* ---- exploring ---- */
static void judge_world(word x) {
    for (int b = 0; b < bads; b++) if (!bad[b].after && inside(&bad[b].cube, x)) broken |= 1ull << b;
}
static void judge_scan(const Row *r, word from, word image) {
    for (int k = 0; k < r->judged; k++) {
        const Bad *b = &bad[r->bads[k]];
        int begins = !b->begins;
        if (!inside(&b->cube, image)) continue;
        for (int s = 0; s < b->sources && !begins; s++) begins = inside(&b->source[s], from);
        if (begins) broken |= 1ull << r->bads[k];
    }
}
/* every image of one word; those in neither set go into `fresh` */
static void follow(const Rows *r, word x, const Words *known, Words *fresh) {
    word p = x >> shift;
    for (int i = r->first[p]; i < r->first[p + 1]; i++) {
        const Row *w = &r->rows[i];
        int held = 0;
        if ((x & w->care) != w->want) continue;
        for (int k = 0; k < w->held && !held; k++) held = (x & w->unless[2 * k]) == w->unless[2 * k + 1];
        if (held) continue;
        word image = (x & w->keep) | w->put;
        if (w->judged) judge_scan(w, x, image);
        if (w->idle) continue;
        transitions++;
        image &= kept;
        if ((!known || !has(known, image)) && add(fresh, image)) judge_world(image);
    }
}
static void fresh_run(Words *all, const Rows *first, const Rows *second) {
    broken = 0; transitions = 0;
    for (int i = 0; i < starts; i++) if (add(all, start[i])) judge_world(start[i]);
    for (size_t i = 0; i < all->count; i++) { word x = all->list[i]; follow(first, x, 0, all); if (second) follow(second, x, 0, all); }
}

int main(int argc, char **argv) {
    if (argc < 4) die("usage: explorer FILE MODE TURNS");
    FILE *f = fopen(argv[1], "rb");
    if (!f) die("cannot read the model");
    fseek(f, 0, SEEK_END);
    size_t size = (size_t)ftell(f);
    rewind(f);
    word *data = room(size);
    if (fread(data, 1, size, f) != size) die("the model is cut off");
    fclose(f);
    in = data;
    shift = *in++; kept = *in++; places = (int)*in++;
    if (places > 256) die("more than 256 places");
    starts = (int)*in++; start = in; in += starts;
    bads = (int)*in++;
    if (bads > 64) die("more than 64 bad cubes");
    bad = room(sizeof(Bad) * (size_t)bads);
    for (int i = 0; i < bads; i++) {
        bad[i].cube = cube(); bad[i].after = (int)*in++; bad[i].begins = (int)*in++; bad[i].sources = (int)*in++;
        bad[i].source = room(sizeof(Cube) * (size_t)bad[i].sources);
        for (int k = 0; k < bad[i].sources; k++) bad[i].source[k] = cube();
    }
    Rows sound = rows();
    int sets = (int)*in++;
    Rows *own = room(sizeof(Rows) * (size_t)sets);
    for (int i = 0; i < sets; i++) own[i] = rows();
    int turns = atoi(argv[3]);
    double best = 1e99;
    Words all = {0};
    for (int t = 0; t < turns; t++) {
        if (t) drop(&all);
        double begun = now();
        all = words(1 << 16);
        fresh_run(&all, &sound, 0);
        if (now() - begun < best) best = now() - begun;
    }
    printf("{\"seconds\": %.9f, \"count\": %zu, \"transitions\": %ld, \"broken\": %llu, \"sets\": [", best, all.count, transitions, (unsigned long long)broken);
    word sound_broken = broken;
    double begun = now();
    for (int s = 0; s < sets && strcmp(argv[2], "fresh"); s++) {
        size_t count;
        Words new = words(1 << 12);
        if (!strcmp(argv[2], "delta")) {
            broken = sound_broken;
            for (size_t i = 0; i < all.count; i++) follow(&own[s], all.list[i], &all, &new);
            for (size_t i = 0; i < new.count; i++) { word x = new.list[i]; follow(&sound, x, &all, &new); follow(&own[s], x, &all, &new); }
            count = all.count + new.count;
        } else {
            fresh_run(&new, &sound, &own[s]);
            count = new.count;
        }
        printf("%s[%zu, %llu]", s ? ", " : "", count, (unsigned long long)broken);
        drop(&new);
    }
    printf("], \"sets_seconds\": %.9f, \"peak\": %ld}\n", now() - begun, peak());
    return 0;
}
