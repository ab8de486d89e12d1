/* Reads flight tables and states, runs a cycle from each, writes the words after it.
 *
 * In, as 32-bit words: how many words the tables have, how many of them are state, how many cycles
 * follow; the tables; for each cycle its state, pressure and time step. The core stands before this
 * text. The array is exactly as long as the tables, so that a sanitizer sees a step beyond it. */
#include <stdio.h>
#include <stdlib.h>

static void words_in(int32_t *words, size_t count)
{
    if (fread(words, sizeof *words, count, stdin) != count) {
        exit(2);
    }
}

int main(void)
{
    int32_t counts[3], given[2], *w;
    words_in(counts, 3);
    w = malloc((size_t)counts[0] * sizeof *w);
    words_in(w, (size_t)counts[0]);
    while (counts[2]-- > 0) {
        words_in(w, (size_t)counts[1]);
        words_in(given, 2);
        if (fv_cycle(w, given[0], given[1]) != w[FV_FLAGS]) {
            return 3;
        }
        if (fwrite(w, sizeof *w, (size_t)counts[1], stdout) != (size_t)counts[1]) {
            return 4;
        }
    }
    free(w);
    return 0;
}
