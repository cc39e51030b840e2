/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The relay's guard. What a line does after its holder died is the driver's business: some let go,
   some keep an output as it was. So a process that does nothing else holds it, and releases it when
   the other end of its socket closes, for whatever reason. */
#include <errno.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "panel_internal.h"
#include "text/clock.h"
#include "text/text.h"

struct shaker {
    pid_t guard_relay;
    int channel;
};

/* Nothing that the other process has open may outlive it through this one. */
static void close_others(int channel) {
    long most = sysconf(_SC_OPEN_MAX);
    most = most > 0 && most < 4096 ? most : 4096;
    for (int descriptor = 0; descriptor < (int)most; descriptor++) {
        if (descriptor != channel) {
            close(descriptor);
        }
    }
}

static int remaining_ms(double until_s) {
    double remaining_s = until_s - up_monotonic_s();
    return isinf(until_s) ? -1 : remaining_s > 0 ? (int)ceil(remaining_s * 1e3) : 0;
}

static void guard_relay(struct gpio_line *relay, int channel, double limit_s) {
    double until_s = (double)INFINITY;
    for (;;) {
        struct pollfd entry = {.fd = channel, .events = POLLIN};
        int ready = poll(&entry, 1, remaining_ms(until_s));
        char word = 0;
        if (ready < 0 && errno == EINTR) {
            continue;
        }
        if (ready > 0 && read(channel, &word, 1) != 1) {
            break;
        }
        gpio_set(relay, word == '1');
        until_s = word == '1' ? up_monotonic_s() + limit_s : (double)INFINITY;
    }
    gpio_set(relay, false);
    gpio_release(relay);
}

bool shaker_set(struct shaker *shaker, bool on) {
    return send(shaker->channel, on ? "1" : "0", 1, MSG_NOSIGNAL) == 1;
}

void shaker_stop(struct shaker *shaker) {
    if (shaker != NULL) {
        close(shaker->channel);
        while (waitpid(shaker->guard_relay, NULL, 0) < 0 && errno == EINTR) {
        }
        free(shaker);
    }
}

/* Says first how taking the line went: 0 or an errno. */
static void open_and_guard(const char *path, unsigned offset, bool active_low, double limit_s,
                           int channel) {
    struct gpio_chip *chip = gpio_open(path);
    struct gpio_line *relay =
        chip != NULL ? gpio_request(chip, offset, true, UP_BIAS_AS_IS, active_low) : NULL;
    int why = relay != NULL ? 0 : errno;
    if (write(channel, &why, sizeof why) == (ssize_t)sizeof why && relay != NULL) {
        guard_relay(relay, channel, limit_s);
    }
}

struct shaker *shaker_start(const char *chip, unsigned offset, bool active_low, double limit_s) {
    struct shaker *shaker;
    int channel[2], why = EIO;
    pid_t child;
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, channel) != 0) {
        return NULL;
    }
    child = fork();
    if (child == 0) {
        static const int meant_for_the_other[] = {SIGINT,  SIGTERM, SIGHUP,
                                                  SIGQUIT, SIGTSTP, SIGPIPE};
        for (size_t i = 0; i < sizeof meant_for_the_other / sizeof meant_for_the_other[0]; i++) {
            signal(meant_for_the_other[i], SIG_IGN);
        }
        close_others(channel[1]);
        open_and_guard(chip, offset, active_low, limit_s, channel[1]);
        _exit(0);
    }
    close(channel[1]);
    if (child < 0) {
        close(channel[0]);
        return NULL;
    }
    shaker = up_allocate(1, sizeof *shaker);
    *shaker = (struct shaker){child, channel[0]};
    if (read(channel[0], &why, sizeof why) != (ssize_t)sizeof why || why != 0) {
        shaker_stop(shaker);
        errno = why;
        return NULL;
    }
    return shaker;
}
