/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include "internal.h"
#include "text/text.h"

/* A pseudo-terminal needs its own opener: libserialport refuses what has no entry under
   /sys/class/tty. */
static bool open_pty(struct up_source *source, struct up_failure *failure) {
    source->descriptor = open(source->path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (source->descriptor < 0) {
        return explain_open(source->path, errno, failure);
    }
    if (!lock_device(source->descriptor, source->path, failure)) {
        return false;
    }
    /* What had arrived before is of another time, as on a serial port. */
    return (make_raw_device(source->descriptor) && tcflush(source->descriptor, TCIFLUSH) == 0) ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "%s is not a serial port: name one, or use `listen --replay` for a file",
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

static bool open_source(struct up_source *source, struct up_failure *failure) {
    switch (source->kind) {
    case UP_PORT_PTY:
        return open_pty(source, failure);
    case UP_PORT_SERIAL:
        return serial_open(source, failure);
    case UP_PORT_CAPTURE:
        return open_capture(source, failure);
    case UP_PORT_TYPED:
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "its readings are typed: there is no wire to listen to");
    case UP_PORT_STDIN:
        source->descriptor = STDIN_FILENO;
        break;
    }
    return true;
}

static bool open_kind(enum up_port_kind kind, const char *path,
                      const struct up_port_settings *settings, struct up_source **result,
                      struct up_failure *failure) {
    struct up_source *source;
    *result = NULL;
    if (strlen(path) >= sizeof source->path) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "the path of the port is too long");
    }
    source = up_allocate(1, sizeof *source);
    source->kind = kind;
    source->descriptor = source->lock = -1;
    source->settings = *settings;
    memcpy(source->path, path, strlen(path) + 1);
    if (!open_source(source, failure)) {
        up_source_close(source);
        return false;
    }
    *result = source;
    return true;
}

bool up_source_open(const struct up_rig *rig, const char *path, struct up_source **source,
                    struct up_failure *failure) {
    const char *where = path != NULL ? path : rig->port_path;
    if (rig->port_kind == UP_PORT_TYPED) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the rig file %s has typed readings: there is no wire to listen to",
                       rig->path);
    }
    if (where[0] == '\0' && rig->port_kind != UP_PORT_STDIN) {
        *source = NULL;
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the rig file %s names no port: give [port] kind and path, or --port",
                       rig->path);
    }
    return open_kind(rig->port_kind, where, &rig->port, source, failure);
}

bool up_source_open_capture(const char *path, struct up_source **source,
                            struct up_failure *failure) {
    bool from_stdin = strcmp(path, "-") == 0;
    return open_kind(from_stdin ? UP_PORT_STDIN : UP_PORT_CAPTURE, path,
                     &(const struct up_port_settings){0}, source, failure);
}

void up_source_drop(struct up_source *source) {
    if (source->kind == UP_PORT_SERIAL) {
        serial_close(source);
    } else if (source->descriptor > STDIN_FILENO) {
        close(source->descriptor);
    }
    source->descriptor = -1;
}

bool up_source_reopen(struct up_source *source, struct up_failure *failure) {
    bool good =
        source->kind == UP_PORT_SERIAL ? serial_reopen(source, failure) : open_pty(source, failure);
    if (!good) {
        up_source_drop(source);
    }
    return good;
}

void up_source_close(struct up_source *source) {
    if (source != NULL) {
        up_source_drop(source);
        free(source);
    }
}

int up_source_descriptor(const struct up_source *source) {
    return source->descriptor;
}

const char *up_source_name(const struct up_source *source) {
    return source->name[0] != '\0' ? source->name : source->path;
}

bool up_source_is_device(const struct up_source *source) {
    return source->kind == UP_PORT_PTY || source->kind == UP_PORT_SERIAL;
}

/* ---- reading ---- */

/* What poll says of the descriptor now. */
static short condition(const struct up_source *source) {
    struct pollfd entry = {.fd = source->descriptor, .events = POLLIN};
    return poll(&entry, 1, 0) > 0 ? entry.revents : 0;
}

bool up_source_is_lost(const struct up_source *source) {
    return up_source_is_device(source) &&
           (source->descriptor < 0 || (condition(source) & (POLLHUP | POLLERR | POLLNVAL)) != 0);
}

/*
 * On a terminal a read of no bytes means "nothing now" or "hung up", and poll shows which. One that
 * is readable and gives nothing twice is lost too; once may be a byte that came in between. Treated
 * as "nothing now", either would make its reader spin.
 */
static ssize_t read_device(struct up_source *source, char *bytes, size_t size) {
    ssize_t got = read(source->descriptor, bytes, size);
    if (got == 0 && !up_source_is_lost(source)) {
        if ((condition(source) & POLLIN) == 0) {
            errno = EAGAIN;
            return -1;
        }
        got = read(source->descriptor, bytes, size);
    }
    return got;
}

enum up_read up_source_read(struct up_source *source, char *bytes, size_t size, size_t *length) {
    bool device = up_source_is_device(source);
    ssize_t got = device ? read_device(source, bytes, size) : read(source->descriptor, bytes, size);
    *length = 0;
    if (got > 0) {
        *length = (size_t)got;
        return UP_READ_BYTES;
    }
    if (got == 0) {
        return device ? UP_READ_LOST : UP_READ_END;
    }
    if (errno == EAGAIN || errno == EWOULDBLOCK || errno == EINTR) {
        return UP_READ_NOTHING;
    }
    return UP_READ_LOST;
}

/* ---- writing ---- */

static bool explain_write(const struct up_source *source, int error, struct up_failure *failure) {
    if (up_source_is_lost(source)) {
        return up_fail(failure, UP_STATUS_UNABLE, "the device is gone from %s: check its cable",
                       source->path);
    }
    return up_fail(failure, UP_STATUS_UNABLE, "cannot write to the port %s: %s", source->path,
                   strerror(error));
}

bool up_source_write(struct up_source *source, const char *bytes, size_t length,
                     struct up_failure *failure) {
    if (!up_source_is_device(source)) {
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
            return explain_write(source, errno, failure);
        }
    }
    return true;
}
