/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <signal.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "text/text.h"

/* Between a file's name and the number of the process that writes it. */
#define PART ".part-"

/* The steps below return 0 or an errno value, as errno itself does not outlive the next call. */

static int code_of(bool good) {
    return good ? 0 : errno != 0 ? errno : EIO;
}

/* Renaming over a device or a directory would replace or miss it; over a link it replaces the link,
   not what that leads to. */
static int check_target(const char *path) {
    struct stat target;
    return lstat(path, &target) != 0 || S_ISREG(target.st_mode) || S_ISLNK(target.st_mode) ? 0
           : S_ISDIR(target.st_mode)                                                       ? EISDIR
                                                                                           : EINVAL;
}

static int fill(FILE *stream, bool (*write)(FILE *, void *), void *context) {
    errno = 0;
    /* A failed write before the last one shows in ferror alone. */
    return code_of(write(stream, context) && fflush(stream) == 0 && !ferror(stream) &&
                   fsync(fileno(stream)) == 0);
}

static int write_temporary(const char *temporary, bool (*write)(FILE *, void *), void *context) {
    /* Left by a killed process with our number; O_EXCL then prevents following a link. */
    unlink(temporary);
    int descriptor = open(temporary, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (descriptor < 0) {
        return code_of(false);
    }
    FILE *stream = fdopen(descriptor, "w");
    if (stream == NULL) {
        int code = code_of(false);
        close(descriptor);
        return code;
    }
    int code = fill(stream, write, context);
    errno = 0;
    int closing = code_of(fclose(stream) == 0);
    return code != 0 ? code : closing;
}

static int flush_directory(const char *path) {
    UP_FREED char *copy = up_text_format("%s", path);
    int descriptor = open(dirname(copy), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    /* Some file systems cannot flush a directory, and one may be written but not read. */
    int code = descriptor < 0 ? errno : code_of(fsync(descriptor) == 0);
    if (descriptor >= 0) {
        close(descriptor);
    }
    return code == EINVAL || code == ENOTSUP || code == EACCES ? 0 : code;
}

static const char *remedy(int code) {
    switch (code) {
    case ENOENT:
    case ENOTDIR:
        return "create the directory first";
    case EACCES:
    case EPERM:
    case EROFS:
        return "choose a directory where you have permission to write";
    case ENOSPC:
    case EDQUOT:
        return "free some space on that disk";
    case EISDIR:
    case EINVAL:
        return "name a file";
    default:
        return "check the disk, or choose another place";
    }
}

bool up_text_make_folder(const char *path, enum up_links links, struct up_failure *failure) {
    struct stat about;
    if (links == UP_LINKS_REFUSED && lstat(path, &about) == 0 && S_ISLNK(about.st_mode)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s is a link, which is not followed: put a folder in its place", path);
    }
    return mkdir(path, 0777) == 0 || errno == EEXIST ||
           up_fail(failure, UP_STATUS_UNABLE, "cannot make the folder %s: %s", path,
                   strerror(errno));
}

static bool is_same_text(int a, int b) {
    char from_a[16384], from_b[sizeof from_a];
    ssize_t got;
    do {
        got = read(a, from_a, sizeof from_a);
        if (got < 0 || read(b, from_b, sizeof from_b) != got ||
            memcmp(from_a, from_b, (size_t)got) != 0) {
            return false;
        }
    } while (got > 0);
    return true;
}

static bool is_same_file(const char *path, const char *other) {
    int a = up_text_open_file(path, UP_LINKS_REFUSED, SIZE_MAX, NULL);
    int b = a >= 0 ? up_text_open_file(other, UP_LINKS_REFUSED, SIZE_MAX, NULL) : -1;
    bool same = b >= 0 && is_same_text(a, b);
    if (a >= 0) {
        close(a);
    }
    if (b >= 0) {
        close(b);
    }
    return same;
}

/* NAME.part-PID of a process that is gone, which began to write one of our pictures or pages. */
static bool is_left_over(const char *name) {
    static const char *const endings[] = {".gp", ".tsv", ".svg", ".png", ".pdf", ".html"};
    const char *part = strstr(name, PART);
    const char *digits = part != NULL ? part + strlen(PART) : "";
    size_t count = strspn(digits, "0123456789");
    bool ours = false;
    for (size_t i = 0; part != NULL && i < sizeof endings / sizeof endings[0]; i++) {
        size_t length = strlen(endings[i]);
        ours = ours ||
               ((size_t)(part - name) > length && strncmp(part - length, endings[i], length) == 0);
    }
    return ours && digits[0] != '0' && count > 0 && count < 10 && digits[count] == '\0' &&
           kill((pid_t)atol(digits), 0) != 0 && errno == ESRCH;
}

void up_text_remove_left_over(const char *directory) {
    DIR *list = opendir(directory);
    struct dirent *entry;
    struct stat about;
    while (list != NULL && (entry = readdir(list)) != NULL) {
        if (is_left_over(entry->d_name) &&
            fstatat(dirfd(list), entry->d_name, &about, AT_SYMLINK_NOFOLLOW) == 0 &&
            S_ISREG(about.st_mode)) {
            unlinkat(dirfd(list), entry->d_name, 0);
        }
    }
    if (list != NULL) {
        closedir(list);
    }
}

static bool write_whole(const char *path, bool keep_same,
                        bool (*write)(FILE *stream, void *context), void *context,
                        struct up_failure *failure) {
    UP_FREED char *temporary = up_text_format("%s" PART "%ld", path, (long)getpid());
    int code = check_target(path);
    if (code == 0) {
        code = write_temporary(temporary, write, context);
        if (code == 0 && keep_same && is_same_file(path, temporary)) {
            unlink(temporary);
        } else if (code == 0) {
            code = code_of(rename(temporary, path) == 0);
            code = code == 0 ? flush_directory(path) : code;
        }
        if (code != 0) {
            unlink(temporary);
        }
    }
    return code == 0 || up_fail(failure, UP_STATUS_UNABLE, "cannot write %s: %s; %s", path,
                                strerror(code), remedy(code));
}

bool up_text_write_file(const char *path, bool (*write)(FILE *stream, void *context), void *context,
                        struct up_failure *failure) {
    return write_whole(path, false, write, context, failure);
}

bool up_text_update_file(const char *path, bool (*write)(FILE *stream, void *context),
                         void *context, struct up_failure *failure) {
    return write_whole(path, true, write, context, failure);
}
