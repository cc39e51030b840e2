/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include "upthrust/text.h"
#include "upthrust/wire.h"

struct up_source {
    enum up_port_kind kind;
    int descriptor;
    char path[512];
};

/* Raw bytes both ways, whatever the terminal did before. A pseudo-terminal needs its own opener:
   libserialport refuses what has no entry under /sys/class/tty. */
static bool make_raw(int descriptor) {
    struct termios settings;
    if (tcgetattr(descriptor, &settings) != 0) {
        return false;
    }
    cfmakeraw(&settings);
    settings.c_cflag |= CLOCAL | CREAD;
    settings.c_cc[VMIN] = 0;
    settings.c_cc[VTIME] = 0;
    return tcsetattr(descriptor, TCSANOW, &settings) == 0;
}

static bool open_pty(struct up_source *source, struct up_failure *failure) {
    source->descriptor = open(source->path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (source->descriptor < 0) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "cannot open the port %s: %s; check that the device is plugged in and that "
                       "you may use it",
                       source->path, strerror(errno));
    }
    return make_raw(source->descriptor) ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "%s is no terminal: name a port, or use `listen --replay` for a file",
                   source->path);
}

static bool open_capture(struct up_source *source, struct up_failure *failure) {
    struct stat about;
    source->descriptor = open(source->path, O_RDONLY | O_CLOEXEC);
    if (source->descriptor < 0 || fstat(source->descriptor, &about) != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "cannot read the capture %s: %s",
                       source->path, strerror(errno));
    }
    return !S_ISDIR(about.st_mode) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s is a directory: name the file with the recorded bytes", source->path);
}

static bool open_kind(enum up_port_kind kind, const char *path, struct up_source **result,
                      struct up_failure *failure) {
    struct up_source *source = up_allocate(1, sizeof *source);
    bool good = true;
    *result = NULL;
    source->kind = kind;
    source->descriptor = -1;
    if (strlen(path) >= sizeof source->path) {
        good = up_fail(failure, UP_STATUS_WRONG_INPUT, "the path of the port is too long");
    } else {
        memcpy(source->path, path, strlen(path) + 1);
    }
    if (good && (kind == UP_PORT_PTY || kind == UP_PORT_SERIAL)) {
        good = open_pty(source, failure);
    } else if (good && kind == UP_PORT_CAPTURE) {
        good = open_capture(source, failure);
    } else if (good) {
        source->descriptor = STDIN_FILENO;
    }
    if (!good) {
        up_source_close(source);
        return false;
    }
    *result = source;
    return true;
}

bool up_source_open(const struct up_rig *rig, const char *path, struct up_source **source,
                    struct up_failure *failure) {
    const char *where = path != NULL ? path : rig->port_path;
    if (where[0] == '\0' && rig->port_kind != UP_PORT_STDIN) {
        *source = NULL;
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the rig file %s names no port: give [port] kind and path, or --port",
                       rig->path);
    }
    return open_kind(rig->port_kind, where, source, failure);
}

bool up_source_open_capture(const char *path, struct up_source **source,
                            struct up_failure *failure) {
    bool from_stdin = strcmp(path, "-") == 0;
    return open_kind(from_stdin ? UP_PORT_STDIN : UP_PORT_CAPTURE, path, source, failure);
}

void up_source_close(struct up_source *source) {
    if (source == NULL) {
        return;
    }
    if (source->descriptor > STDIN_FILENO) {
        close(source->descriptor);
    }
    free(source);
}

int up_source_descriptor(const struct up_source *source) {
    return source->descriptor;
}

/* On a terminal a read of zero bytes means "nothing now" or "hung up": only poll tells which. */
static enum up_read read_nothing(const struct up_source *source) {
    struct pollfd entry = {.fd = source->descriptor, .events = POLLIN};
    if (source->kind != UP_PORT_PTY) {
        return UP_READ_END;
    }
    if (poll(&entry, 1, 0) > 0 && (entry.revents & (POLLHUP | POLLERR | POLLNVAL)) != 0) {
        return UP_READ_LOST;
    }
    return UP_READ_NOTHING;
}

enum up_read up_source_read(struct up_source *source, char *bytes, size_t size, size_t *length) {
    ssize_t got = read(source->descriptor, bytes, size);
    *length = 0;
    if (got > 0) {
        *length = (size_t)got;
        return UP_READ_BYTES;
    }
    if (got == 0) {
        return read_nothing(source);
    }
    if (errno == EAGAIN || errno == EWOULDBLOCK || errno == EINTR) {
        return UP_READ_NOTHING;
    }
    return UP_READ_LOST;
}

bool up_source_write(struct up_source *source, const char *bytes, size_t length,
                     struct up_failure *failure) {
    if (source->kind != UP_PORT_PTY) {
        return true;
    }
    while (length > 0) {
        ssize_t put = write(source->descriptor, bytes, length);
        if (put > 0) {
            bytes += put;
            length -= (size_t)put;
        } else if (put < 0 && (errno == EAGAIN || errno == EINTR)) {
            struct pollfd entry = {.fd = source->descriptor, .events = POLLOUT};
            if (poll(&entry, 1, 1000) == 0) {
                return up_fail(failure, UP_STATUS_UNABLE, "the port %s takes no more bytes",
                               source->path);
            }
        } else {
            return up_fail(failure, UP_STATUS_UNABLE, "cannot write to the port %s: %s",
                           source->path, strerror(errno));
        }
    }
    return true;
}
