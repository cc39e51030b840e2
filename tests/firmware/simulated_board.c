/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The board as a program: its serial line is a pseudo-terminal, its load that of a simulated tank,
 * asked through the tank's own port. Its time runs as fast as somebody reads its lines, and stands
 * still while nobody does; words on standard input change what is wired to it.
 *
 *   simulated_board IMAGE [TANK]
 *
 *   hold, go            time stands still, goes on
 *   run SECONDS         so long, whoever reads
 *   unplug thermometer, plug thermometer, stop converter, start converter
 *   noise on, noise off on each input
 *   reset               the button
 * Each is answered with the word itself.
 */
#define _GNU_SOURCE /* ptsname_r */
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include "models.h"

/* Lines that nobody has read yet: beyond these the board waits, so that what is done at the tank
   shows in the next line. */
enum { UNREAD_MOST = 96 };
static const double SLICE_S = 0.002;

struct program {
    struct board_model board;
    int master, slave, tank;
    char port[128];
    bool held, noisy;
    unsigned chance;
    char typed[256];
    size_t typed_length;
    char sent[512]; /* by the board, not yet in the terminal */
    size_t sent_length;
    int32_t word; /* the tank's latest */
};

static bool make_raw(int descriptor) {
    struct termios settings;
    if (tcgetattr(descriptor, &settings) != 0) {
        return false;
    }
    cfmakeraw(&settings);
    return tcsetattr(descriptor, TCSANOW, &settings) == 0;
}

/* ---- the tank ---- */

/* One line: "time_ms,counts,temp_c". */
static int32_t ask_tank(void *context, double time_s) {
    struct program *program = context;
    char line[96];
    size_t length = 0;
    double time_ms, counts, temp_c;
    (void)time_s;
    if (program->tank < 0) {
        return (int32_t)(program->chance = program->chance * 1664525 + 1013904223) >> 20;
    }
    if (write(program->tank, "more 1\n", 7) != 7) {
        return program->word;
    }
    while (length < sizeof line - 1 && read(program->tank, line + length, 1) == 1 &&
           line[length++] != '\n') {
    }
    line[length] = '\0';
    if (sscanf(line, "%lf,%lf,%lf", &time_ms, &counts, &temp_c) == 3) {
        program->word = (int32_t)fmax(-8388608, fmin(8388607, counts));
        program->board.thermometer.temp_c = temp_c;
    }
    return program->word;
}

/* ---- the port ---- */

static void take_sent(void *context, uint8_t byte) {
    struct program *program = context;
    if (program->sent_length < sizeof program->sent) {
        program->sent[program->sent_length++] = (char)byte;
    }
}

static void pass_on(struct program *program) {
    ssize_t put =
        program->sent_length > 0 ? write(program->master, program->sent, program->sent_length) : 0;
    if (put > 0) {
        program->sent_length -= (size_t)put;
        memmove(program->sent, program->sent + put, program->sent_length);
    }
}

static void take_from_host(struct program *program) {
    char bytes[64];
    ssize_t got = read(program->master, bytes, sizeof bytes);
    for (ssize_t i = 0; i < got; i++) {
        board_model_say(&program->board, (uint8_t)bytes[i], false);
    }
}

static bool is_read(const struct program *program) {
    int unread = 0;
    return program->sent_length == 0 && ioctl(program->slave, FIONREAD, &unread) == 0 &&
           unread <= UNREAD_MOST;
}

static bool open_port(struct program *program) {
    program->master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (program->master < 0 || grantpt(program->master) != 0 || unlockpt(program->master) != 0 ||
        ptsname_r(program->master, program->port, sizeof program->port) != 0) {
        return false;
    }
    program->slave = open(program->port, O_RDWR | O_NOCTTY);
    return program->slave >= 0 && make_raw(program->slave);
}

/* ---- words ---- */

static void plug(struct thermometer_model *thermometer, bool in) {
    thermometer->unplugged = !in;
    if (in) {
        thermometer_model_power_on(thermometer);
    }
}

static void set_noise(struct program *program, bool on) {
    program->noisy = on;
    /* With more of them the board never sleeps, and the simulator is slow. */
    program->board.converter.needles_apart_us = on ? 2000 : 0;
}

static bool obey(struct program *program, const char *word) {
    double seconds = 0;
    if (strcmp(word, "hold") == 0 || strcmp(word, "go") == 0) {
        program->held = word[0] == 'h';
    } else if (sscanf(word, "run %lf", &seconds) == 1) {
        board_model_run(&program->board, fmin(seconds, 3600));
    } else if (strcmp(word, "unplug thermometer") == 0 || strcmp(word, "plug thermometer") == 0) {
        plug(&program->board.thermometer, word[0] == 'p');
    } else if (strcmp(word, "stop converter") == 0 || strcmp(word, "start converter") == 0) {
        program->board.converter.stopped = word[2] == 'o';
    } else if (strcmp(word, "noise on") == 0 || strcmp(word, "noise off") == 0) {
        set_noise(program, word[7] == 'n');
    } else if (strcmp(word, "reset") == 0) {
        board_model_reset(&program->board);
    } else {
        return false;
    }
    return true;
}

/* False at the end of the input. */
static bool take_words(struct program *program) {
    ssize_t got = read(STDIN_FILENO, program->typed + program->typed_length,
                       sizeof program->typed - 1 - program->typed_length);
    char *end;
    if (got <= 0) {
        return false;
    }
    program->typed_length += (size_t)got;
    while ((end = memchr(program->typed, '\n', program->typed_length)) != NULL) {
        *end = '\0';
        printf("%s%s\n", obey(program, program->typed) ? "" : "unknown: ", program->typed);
        fflush(stdout);
        program->typed_length -= (size_t)(end + 1 - program->typed);
        memmove(program->typed, end + 1, program->typed_length);
    }
    return program->typed_length < sizeof program->typed - 1;
}

/* ---- the loop ---- */

static void rattle(struct program *program) {
    program->chance = program->chance * 1664525 + 1013904223;
    if (program->noisy && program->chance >> 24 < 64) {
        board_model_say(&program->board, (uint8_t)(program->chance >> 8),
                        (program->chance & 0x80) != 0);
    }
}

static bool run_slices(struct program *program) {
    for (int i = 0; i < 8 && !program->held && is_read(program); i++) {
        rattle(program);
        if (!board_model_run(&program->board, SLICE_S)) {
            fprintf(stderr, "the controller crashed\n");
            return false;
        }
        pass_on(program);
    }
    return true;
}

static int run(struct program *program) {
    for (;;) {
        struct pollfd entry[2] = {{.fd = STDIN_FILENO, .events = POLLIN},
                                  {.fd = program->master, .events = POLLIN}};
        pass_on(program);
        bool waits = program->held || !is_read(program);
        if (poll(entry, 2, waits ? 1 : 0) < 0 && errno != EINTR) {
            return 1;
        }
        if ((entry[0].revents != 0 && !take_words(program))) {
            return 0;
        }
        if ((entry[1].revents & POLLIN) != 0) {
            take_from_host(program);
        }
        if (!run_slices(program)) {
            return 1;
        }
    }
}

int main(int argc, char **argv) {
    static struct program program = {.tank = -1, .chance = 1};
    if (argc != 2 && argc != 3) {
        fprintf(stderr, "usage: simulated_board IMAGE [TANK]\n");
        return 2;
    }
    signal(SIGPIPE, SIG_IGN);
    program.board.converter.load = ask_tank;
    program.board.converter.context = program.board.context = &program;
    program.board.sent = take_sent;
    if (argc == 3) {
        program.tank = open(argv[2], O_RDWR | O_NOCTTY);
        if (program.tank < 0 || !make_raw(program.tank)) {
            fprintf(stderr, "%s: %s\n", argv[2], strerror(errno));
            return 1;
        }
    }
    if (!open_port(&program) || !board_model_begin(&program.board, argv[1])) {
        fprintf(stderr, "cannot begin: %s\n", strerror(errno));
        return 1;
    }
    printf("{\"event\":\"board\",\"port\":\"%s\"}\n", program.port);
    fflush(stdout);
    return run(&program);
}
