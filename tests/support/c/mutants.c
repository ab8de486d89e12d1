/* Flies mutants of flight tables: those that the check takes must do no harm.
 *
 * Arguments: how many mutants, a seed. In, 32-bit words: how many sets of tables, then the count and
 * the words of each. A mutant is a set with one or several words changed, on a heap block exactly as
 * long as it is, so that a sanitizer sees a step beyond. One in 64 goes through fv_init too. Out:
 * mutants, refused ones, cycles flown, and the first mutant that gave what must not be, or -1.
 */
#define _DEFAULT_SOURCE
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "fourvane.c"

void __sanitizer_set_death_callback(void (*callback)(void));

#ifndef CHECK /* a test leaves it out, to see the harm */
#define CHECK core_unfit_word
#endif
#define SETS 64
#define LONGEST_S 60 /* for a thousand mutants: what takes longer has no end */

static uint64_t state;
static long mutant;
static int32_t *given[SETS];
static int32_t count_of[SETS];
static fv_steering steering;

static uint32_t drawn(void) /* splitmix64 */
{
    uint64_t z = (state += UINT64_C(0x9e3779b97f4a7c15));
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return (uint32_t)((z ^ (z >> 31)) >> 32);
}

static int32_t below(int32_t most)
{
    return (int32_t)(drawn() % (uint32_t)most);
}

static int32_t word_of(uint32_t bits)
{
    int32_t word;
    memcpy(&word, &bits, sizeof word);
    return word;
}

static void tell(void)
{
    fprintf(stderr, "at mutant %ld\n", mutant);
}

static void too_long(int signal_number)
{
    static const char text[] = "a mutant has no end\n";
    (void)signal_number;
    if (write(2, text, sizeof text - 1) > 0) {
        tell();
    }
    _exit(4);
}

static int32_t other(const int32_t *words, int32_t count, int32_t was)
{
    static const int32_t ends[] = {0, 1, -1, 31, 32, 33, INT32_MIN, INT32_MAX, 1 << 30, -(1 << 30)};
    const uint32_t bits = (uint32_t)was;
    switch (below(8)) {
    case 0: return word_of(drawn());
    case 1: return word_of(bits ^ (UINT32_C(1) << below(32)));
    case 2: return word_of(bits + 1u);
    case 3: return word_of(bits - 1u);
    case 4: return ends[below(10)];
    case 5: return words[below(count)];
    case 6: return word_of(bits + (UINT32_C(1) << below(31)) * (drawn() & 1u ? 1u : UINT32_MAX));
    default: return word_of(drawn() & 1u ? 0u - bits : bits * 2u);
    }
}

static int32_t far(int32_t most)
{
    return below(3) == 0 ? (drawn() & 1u ? most : -most)
                         : word_of(drawn()) % ((most >> below(24)) + 1);
}

/* 1 where a cycle gave what it must not. */
static int harm(const int32_t *w)
{
    int i;
    for (i = 0; i < CORE_VANES; i++) {
        const int32_t at = w[CORE_DEFLECTION + i], pulse = w[CORE_PULSE + i];
        if (pulse < 400000 || pulse > 2600000) {
            return 1;
        }
        if (at < w[CORE_TRAVEL_LO + i] || at > w[CORE_TRAVEL_HI + i]) {
            return 1;
        }
    }
    return 0;
}

static long fly(int32_t *w, int32_t cycles, int *harmed)
{
    int32_t i;
    core_reset(w);
    *harmed |= harm(w);
    for (i = 0; i < cycles; i++) {
        const int32_t reference = w[CORE_PA_MAX] >> 1;
        switch (below(12)) {
        case 0: core_jam(w, below(4), word_of(drawn())); break;
        case 1: core_free(w, below(4)); break;
        case 2: core_start(w, below(3) == 0 ? -CORE_LAST_US : below(CORE_LAST_US),
                           below(3) == 0 ? CORE_LAST_US : below(40000000)); break;
        case 3: core_release(w); break;
        case 4: core_reset(w); break;
        default: core_demand(w, far(w[CORE_MNM_MAX]), far(w[CORE_MNM_MAX]), far(w[CORE_ROLL_MNM_MAX]));
        }
        core_cycle(w, below(4) == 0 ? word_of(drawn()) : reference - (reference >> (1 + below(8))),
                   below(6) == 0 ? word_of(drawn()) : below(30000));
        *harmed |= harm(w);
    }
    return cycles;
}

int main(int argc, char **argv)
{
    const long mutants = argc > 2 ? atol(argv[1]) : 0;
    long refused = 0, cycles = 0, first = -1;
    int32_t sets, i;
    state = argc > 2 ? (uint64_t)atol(argv[2]) : 0;
    if (fread(&sets, 4, 1, stdin) != 1 || sets < 1 || sets > SETS) {
        return 3;
    }
    for (i = 0; i < sets; i++) {
        if (fread(&count_of[i], 4, 1, stdin) != 1) {
            return 3;
        }
        given[i] = malloc((size_t)count_of[i] * 4);
        if (given[i] == NULL || fread(given[i], 4, (size_t)count_of[i], stdin) != (size_t)count_of[i]) {
            return 3;
        }
    }
    __sanitizer_set_death_callback(tell);
    signal(SIGALRM, too_long);
    for (mutant = 0; mutant < mutants; mutant++) {
        const int32_t set = below(sets), count = count_of[set];
        int32_t changes = below(5) == 0 ? 2 + below(7) : 1;
        int32_t *w = malloc((size_t)count * 4);
        int32_t bad;
        int harmed = 0;
        if (w == NULL) {
            return 3;
        }
        if (mutant % 1000 == 0) {
            alarm(LONGEST_S);
        }
        memcpy(w, given[set], (size_t)count * 4);
        while (changes-- > 0) {
            const int32_t place = below(2) == 0 ? CORE_COS + below(CORE_BODY - CORE_COS)
                                                : CORE_COS + below(count - CORE_COS);
            w[place] = other(w, count, w[place]);
        }
        bad = CHECK(w, count);
        if (mutant % 64 == 0) {
            fv_tables tables = {FV_TABLES_VERSION, 0, 0, NULL};
            tables.count = (uint32_t)count;
            tables.crc32 = crc32_of(w, (uint32_t)count);
            tables.words = w;
            harmed |= fv_init(&steering, &tables) != bad;
        }
        if (bad != 0) {
            refused += 1;
            harmed |= bad < CORE_COS || bad >= count;
        } else {
            cycles += fly(w, 24, &harmed);
        }
        if (harmed && first < 0) {
            first = mutant;
        }
        free(w);
    }
    printf("%ld %ld %ld %ld\n", mutants, refused, cycles, first);
    for (i = 0; i < sets; i++) {
        free(given[i]);
    }
    return 0;
}
