/* Plays what comes on standard input to a steering, and writes what came of it: for host tests.
 *
 * In, 32-bit words: version, count and CRC-32 of tables and how many words follow, the words; how
 * many operations, and each one's kind and five numbers. Out: what fv_init said; after each
 * operation what it returned, the outputs, jammed vanes, burn time, burn load; at the end the first
 * STATE_WORDS words. Then the next tables, until the input ends.
 */
#include <stdio.h>
#include <stdlib.h>

#include "fourvane.h"

enum { START, RELEASE, JAM, FREE, DEMAND, STEP, RESET, SENSED, WATCH, BEGIN, WAIT, TRUST };

static int read_words(int32_t *words, size_t count)
{
    return fread(words, sizeof *words, count, stdin) == count;
}

static void write_words(const int32_t *words, size_t count)
{
    if (fwrite(words, sizeof *words, count, stdout) != count) {
        exit(3);
    }
}

static int32_t done(fv_steering *steering, const int32_t *op)
{
    switch (op[0]) {
    case START:
        fv_start(steering, op[1], op[2]);
        return 0;
    case RELEASE:
        fv_release(steering);
        return 0;
    case JAM:
        return fv_jam(steering, op[1], op[2]);
    case FREE:
        return fv_free(steering, op[1]);
    case DEMAND:
        return fv_demand(steering, op[1], op[2], op[3]);
    case SENSED:
        fv_sensed(steering, op[1], op[2], op[3], op[4]);
        return 0;
    case WATCH:
        fv_watch(steering, op[1]);
        return 0;
    case BEGIN:
        fv_begin(steering);
        return 0;
    case WAIT:
        fv_wait(steering, op[1]);
        return 0;
    case TRUST:
        fv_trust(steering, op[1]);
        return 0;
    case STEP:
        return fv_step(steering, op[1], op[2]);
    default:
        fv_reset(steering);
        return 0;
    }
}

int main(void)
{
    int32_t head[4];
    while (read_words(head, 4)) {
        /* Exactly as large as it has to be, so that a sanitizer sees a step beyond either. */
        int32_t *words = malloc((size_t)head[3] * sizeof *words);
        fv_steering *steering = malloc(sizeof *steering);
        fv_tables tables;
        int32_t said, count;
        if (words == NULL || steering == NULL || !read_words(words, (size_t)head[3])) {
            return 3;
        }
        tables.version = (uint32_t)head[0];
        tables.count = (uint32_t)head[1];
        tables.crc32 = (uint32_t)head[2];
        tables.words = words;
        steering->ready = head[0] ^ head[2];
        said = fv_init(steering, &tables);
        write_words(&said, 1);
        free(words);
        if (!read_words(&count, 1)) {
            return 3;
        }
        while (count-- > 0) {
            int32_t op[6], got[23];
            fv_output output;
            if (!read_words(op, 6)) {
                return 3;
            }
            got[0] = done(steering, op);
            fv_outputs(steering, &output);
            for (int i = 0; i < 4; i++) {
                got[1 + i] = output.deflection_mdeg[i];
                got[5 + i] = output.pulse_ns[i];
                got[9 + i] = output.force[i];
            }
            for (int i = 0; i < 3; i++) {
                got[13 + i] = output.moment_mnm[i];
            }
            got[16] = output.flags;
            got[17] = fv_jammed(steering);
            got[18] = fv_time_us(steering);
            got[19] = fv_load_us(steering);
            got[20] = fv_declared(steering);
            got[21] = fv_jams_found(steering);
            got[22] = fv_sensors_out(steering);
            write_words(got, 23);
        }
        if (said == FV_OK) {
            write_words(steering->words, STATE_WORDS);
        }
        free(steering);
    }
    return 0;
}
