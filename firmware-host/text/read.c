/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "text/text.h"

static const char *fault_of(int descriptor, enum up_links links, size_t most_bytes, char size[40]) {
    struct stat about;
    if (descriptor < 0 || fstat(descriptor, &about) != 0) {
        return errno == ELOOP && links == UP_LINKS_REFUSED ? "it is a link, which is not followed"
                                                           : strerror(errno);
    }
    if (!S_ISREG(about.st_mode)) {
        return S_ISDIR(about.st_mode) ? "it is a directory"
                                      : "it is a pipe or a device, not a file";
    }
    if ((uintmax_t)about.st_size > most_bytes) {
        bool large = most_bytes >= 1 << 20;
        snprintf(size, 40, "it is larger than %zu %s", most_bytes >> (large ? 20 : 10),
                 large ? "MiB" : "KiB");
        return size;
    }
    return NULL;
}

int up_text_open_file(const char *path, enum up_links links, size_t most_bytes,
                      struct up_failure *failure) {
    /* O_NONBLOCK: to open a pipe without a writer would wait for one. */
    int flags = O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC;
    int descriptor = open(path, links == UP_LINKS_REFUSED ? flags | O_NOFOLLOW : flags);
    char size[40];
    const char *fault = fault_of(descriptor, links, most_bytes, size);
    if (fault == NULL) {
        return descriptor;
    }
    up_fail(failure, UP_STATUS_WRONG_INPUT, "cannot read %s: %s", path, fault);
    if (descriptor >= 0) {
        close(descriptor);
    }
    return -1;
}

/* False with errno. */
static bool read_all(int descriptor, char *bytes, size_t size, size_t *length) {
    ssize_t got = 1;
    while (*length < size && got != 0) {
        got = read(descriptor, bytes + *length, size - *length);
        if (got < 0 && errno != EINTR) {
            return false;
        }
        *length += got > 0 ? (size_t)got : 0;
    }
    return true;
}

char *up_text_read_file(const char *path, enum up_links links, size_t most_bytes, size_t *length,
                        struct up_failure *failure) {
    struct stat about;
    int descriptor = up_text_open_file(path, links, most_bytes, failure);
    *length = 0;
    if (descriptor < 0) {
        return NULL;
    }
    /* One that grows meanwhile is read as it was. */
    size_t size = fstat(descriptor, &about) == 0 ? (size_t)about.st_size : 0;
    char *bytes = up_allocate(size + 1, 1);
    if (!read_all(descriptor, bytes, size, length)) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "cannot read %s: %s", path, strerror(errno));
        free(bytes);
        bytes = NULL;
    }
    close(descriptor);
    return bytes;
}
