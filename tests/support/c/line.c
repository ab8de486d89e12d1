/* The flight computer's end of the line for tests: requests by words on standard input, answers on
 * standard output.
 *
 *     line PORT        over a serial port or pseudo-terminal
 *     line -           only listens: standard input is the line
 */
#define _DEFAULT_SOURCE
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "fourvane_link.h"
#include "fourvane_vehicle.h"

static int port;
static int ended; /* nothing more will come */
static int piece; /* listening: how many bytes come at a time, another number each time */

static int32_t receive(void *user, uint8_t *bytes, int32_t most)
{
    int32_t count;
    if (user != NULL) {
        piece = piece % 17 + 1;
        if (piece == 9) {
            return 1000; /* more than there is room for: nothing is to be believed of it */
        }
        most = most < piece ? most : (int32_t)piece;
    }
    count = (int32_t)read(port, bytes, (size_t)most); /* -1 where nothing waits */
    ended = count == 0;
    return count;
}

static void send(void *user, const uint8_t *bytes, int32_t count)
{
    (void)user;
    while (count > 0) {
        const ssize_t gone = write(port, bytes, (size_t)count);
        if (gone > 0) {
            bytes += gone;
            count -= (int32_t)gone;
        }
    }
}

static uint32_t now_us(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint32_t)now.tv_sec * 1000000u + (uint32_t)(now.tv_nsec / 1000);
}

static void print(const char *what, const fv_answer *answer)
{
    printf("%s %u %u %u %u ", what, answer->kind, answer->sequence, answer->state,
           answer->verdict);
    for (int32_t i = 0; i < answer->count; i++) {
        printf("%02x", answer->contents[i]);
    }
    printf("\n");
}

static void print_cycle(const fv_answer *answer)
{
    fv_cycle cycle;
    if (fv_read_cycle(answer, &cycle) == 0) {
        printf("cycle none\n");
        return;
    }
    printf("cycle %ld", (long)cycle.flags);
    for (int i = 0; i < 4; i++) {
        printf(" %ld", (long)cycle.deflection_mdeg[i]);
    }
    for (int i = 0; i < 4; i++) {
        printf(" %ld", (long)cycle.pulse_ns[i]);
    }
    for (int i = 0; i < 3; i++) {
        printf(" %ld", (long)cycle.moment_mnm[i]);
    }
    printf("\n");
}

static void print_found(const fv_answer *answer)
{
    fv_checked found;
    fv_belief belief;
    fv_watched watched;
    if (fv_read_checked(answer, &found) != 0) {
        printf("checked %ld %ld", (long)found.done, (long)found.off);
        for (int i = 0; i < 4; i++) {
            printf(" %ld", (long)found.turned_mdeg[i]);
        }
        printf("\n");
    }
    if (fv_read_belief(answer, &belief) != 0) {
        printf("belief %ld %ld %ld %ld %ld %ld\n", (long)belief.time_us, (long)belief.load_us,
               (long)belief.doubted_us, (long)belief.ratio_q14, (long)belief.jammed,
               (long)belief.burn);
    }
    if (fv_read_watched(answer, &watched) != 0) {
        printf("watched %ld %ld %ld %ld %ld\n", (long)watched.watch, (long)watched.believed,
               (long)watched.out, (long)watched.declared, (long)watched.found);
    }
}

static int asked(fv_link *link, const char *what, const int32_t *n)
{
    const uint32_t now = now_us();
    if (strcmp(what, "demand") == 0) {
        fv_link_demand(link, now, n[0], n[1], n[2], n[3]);
    } else if (strcmp(what, "arm") == 0) {
        fv_link_arm(link, now);
    } else if (strcmp(what, "disarm") == 0) {
        fv_link_disarm(link, now);
    } else if (strcmp(what, "jam") == 0) {
        fv_link_jam(link, now, n[0], n[1]);
    } else if (strcmp(what, "free") == 0) {
        fv_link_free(link, now, n[0]);
    } else if (strcmp(what, "burn") == 0) {
        fv_link_burn(link, now, n[0], n[1]);
    } else if (strcmp(what, "start") == 0) {
        fv_link_start(link, now);
    } else if (strcmp(what, "belief") == 0) {
        fv_link_belief(link, now);
    } else if (strcmp(what, "check") == 0) {
        fv_link_check(link, now, n[0]);
    } else if (strcmp(what, "checked") == 0) {
        fv_link_checked(link, now);
    } else if (strcmp(what, "watch") == 0) {
        fv_link_watch(link, now, n[0]);
    } else if (strcmp(what, "watched") == 0) {
        fv_link_watched(link, now);
    } else if (strcmp(what, "counters") == 0) {
        fv_link_counters(link, now, n[0]);
    } else if (strcmp(what, "identify") == 0) {
        fv_link_identify(link, now);
    } else if (strcmp(what, "forces") == 0) {
        fv_link_forces(link, now);
    } else if (strcmp(what, "stop") == 0) {
        fv_link_stop(link, now);
    } else if (strcmp(what, "pace") == 0) {
        fv_link_pace(link, now, n[0], n[1]);
    } else if (strcmp(what, "pass") == 0) {
        fv_link_pass(link, now, n[0]);
    } else if (strcmp(what, "load") == 0) {
        fv_link_load(link, now, &fv_vehicle);
    } else {
        return 0;
    }
    return 1;
}

static void listen(fv_link *link)
{
    fv_answer answer;
    port = 0;
    while (!ended) {
        if (fv_link_poll(link, 0, &answer) == FV_LINK_SAID) {
            print("said", &answer);
        }
    }
    printf("damaged %lu\n", (unsigned long)link->damaged);
}

/* Requests are words, then up to four numbers; one that begins with a + is not waited for. */
int main(int count, char **words)
{
    fv_link link;
    fv_answer answer;
    char text[200];
    struct termios settings;
    (void)count;
    if (strcmp(words[1], "-") == 0) {
        fv_link_init(&link, receive, send, &link, 0);
        listen(&link);
        return 0;
    }
    port = open(words[1], O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (port < 0 || tcgetattr(port, &settings) != 0) {
        perror(words[1]);
        return 2;
    }
    cfmakeraw(&settings);
    tcsetattr(port, TCSANOW, &settings);
    fv_link_init(&link, receive, send, NULL, (uint32_t)atol(words[2]));
    while (fgets(text, sizeof text, stdin) != NULL) {
        int32_t n[4] = { 0, 0, 0, 0 };
        long l[4] = { 0, 0, 0, 0 };
        char what[20];
        int32_t said;
        sscanf(text, "%19s %ld %ld %ld %ld", what, &l[0], &l[1], &l[2], &l[3]);
        for (int i = 0; i < 4; i++) {
            n[i] = (int32_t)l[i];
        }
        if (!asked(&link, what[0] == '+' ? what + 1 : what, n)) {
            return 3;
        }
        if (what[0] == '+') {
            continue;
        }
        while ((said = fv_link_poll(&link, now_us(), &answer)) != FV_LINK_ANSWERED &&
               said != FV_LINK_SILENT) {
            if (said == FV_LINK_SAID) {
                print("said", &answer);
            } else {
                usleep(50);
            }
        }
        if (said == FV_LINK_SILENT) {
            printf("silent\n");
            continue;
        }
        print("answer", &answer);
        print_found(&answer);
        if (answer.kind == FV_KIND_DEMAND || answer.kind == FV_KIND_PASS) {
            print_cycle(&answer);
        }
    }
    printf("counts %lu %lu %lu\n", (unsigned long)link.damaged, (unsigned long)link.silent,
           (unsigned long)link.replaced);
    return 0;
}
