/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Folders that appear whole or not at all, and the copying of runs. */
#ifndef _GNU_SOURCE
#define _GNU_SOURCE
#endif
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <libgen.h>
#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "internal.h"
#include "text/text.h"

#define PART ".part-"

static bool fail_at(const char *path, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_UNABLE,
                   "%s cannot be written: %s; free space, or choose another folder", path,
                   strerror(errno));
}

bool keep_sync(const char *path, struct up_failure *failure) {
    int descriptor = open(path, O_RDONLY | O_CLOEXEC);
    bool good = descriptor >= 0 && fsync(descriptor) == 0;
    int cause = errno;
    if (descriptor >= 0) {
        close(descriptor);
    }
    errno = cause;
    return good || fail_at(path, failure);
}

/* ---- the folder ---- */

static int remove_one(const char *path, const struct stat *about, int type, struct FTW *place) {
    (void)about, (void)type, (void)place;
    return remove(path);
}

static void remove_all(const char *path) {
    enum { FOLDERS_OPEN = 16 };
    nftw(path, remove_one, FOLDERS_OPEN, FTW_DEPTH | FTW_PHYS);
}

static char *parent_of(const char *path) {
    UP_FREED char *copy = up_text_format("%s", path);
    return up_text_format("%s", dirname(copy));
}

static int lock_of(const char *path) {
    int descriptor = open(path, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
    if (descriptor >= 0 && flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
        close(descriptor);
        return -1;
    }
    return descriptor;
}

/* A file in it says that it is one of ours: nobody else's folder of such a name is taken away. */
static char *mark_of(const char *part) {
    return up_text_format("%s/.part-of-a-copy", part);
}

static bool is_ours(const char *part) {
    struct stat about;
    UP_FREED char *mark = mark_of(part);
    return lstat(mark, &about) == 0 && S_ISREG(about.st_mode);
}

static bool put_mark(const char *part) {
    UP_FREED char *mark = mark_of(part);
    int descriptor = open(mark, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    return descriptor >= 0 && close(descriptor) == 0;
}

/* Whoever makes one holds its lock. */
static void remove_remnants(const char *to) {
    UP_FREED char *parent = parent_of(to);
    UP_FREED char *copy = up_text_format("%s", to);
    UP_FREED char *form = up_text_format("%s" PART, basename(copy));
    DIR *stream = opendir(parent);
    const struct dirent *entry;
    while (stream != NULL && (entry = readdir(stream)) != NULL) {
        UP_FREED char *path = up_text_format("%s/%s", parent, entry->d_name);
        bool is_part = strncmp(entry->d_name, form, strlen(form)) == 0 &&
                       strlen(entry->d_name) == strlen(form) + strlen("XXXXXX") && is_ours(path);
        int lock = is_part ? lock_of(path) : -1;
        if (lock >= 0) {
            remove_all(path);
            close(lock);
        }
    }
    if (stream != NULL) {
        closedir(stream);
    }
}

static char *without_slashes(const char *path) {
    char *copy = up_text_format("%s", path);
    for (size_t length = strlen(copy); length > 1 && copy[length - 1] == '/'; length--) {
        copy[length - 1] = '\0';
    }
    return copy;
}

bool keep_begin(struct keep_folder *folder, const char *to, struct up_failure *failure) {
    struct stat about;
    UP_FREED char *name = without_slashes(to);
    *folder = (struct keep_folder){.to = to, .lock = -1};
    if (lstat(name, &about) == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s already exists: name a folder that does not", to);
    }
    remove_remnants(name);
    folder->part = up_text_format("%s" PART "XXXXXX", name);
    if (mkdtemp(folder->part) == NULL) {
        fail_at(to, failure);
        free(folder->part);
        folder->part = NULL;
        return false;
    }
    folder->lock = lock_of(folder->part);
    if (!put_mark(folder->part)) {
        fail_at(to, failure);
        return keep_finish(folder, false, NULL);
    }
    return true;
}

bool keep_finish(struct keep_folder *folder, bool good, struct up_failure *failure) {
    if (folder->part == NULL) {
        return false;
    }
    UP_FREED char *name = without_slashes(folder->to);
    UP_FREED char *parent = parent_of(name), *mark = mark_of(folder->part);
    good = good && (unlink(mark) == 0 || fail_at(folder->to, failure)) &&
           keep_sync(folder->part, failure) &&
           (rename(folder->part, name) == 0 || fail_at(folder->to, failure));
    if (good) {
        good = keep_sync(parent, failure);
    } else {
        remove_all(folder->part);
    }
    if (folder->lock >= 0) {
        close(folder->lock);
    }
    free(folder->part);
    folder->part = NULL;
    return good;
}

/* ---- copying ---- */

enum { PIECE_BYTES = 1 << 16 };

static bool hash_of(const char *path, uint8_t digest[SHA256_DIGEST_SIZE],
                    struct up_failure *failure) {
    struct sha256_ctx context;
    UP_FREED uint8_t *piece = up_allocate(PIECE_BYTES, 1);
    ssize_t got = 0;
    int from = up_text_open_file(path, UP_LINKS_REFUSED, SIZE_MAX, failure);
    if (from < 0) {
        return false;
    }
    sha256_init(&context);
    while ((got = read(from, piece, PIECE_BYTES)) > 0) {
        sha256_update(&context, (size_t)got, piece);
    }
    int cause = errno;
    close(from);
    errno = cause;
    sha256_digest(&context, SHA256_DIGEST_SIZE, digest);
    return got == 0 || fail_at(path, failure);
}

static bool write_piece(int to, const uint8_t *piece, size_t length) {
    size_t done = 0;
    while (done < length) {
        ssize_t written = write(to, piece + done, length - done);
        if (written < 0 && errno != EINTR) {
            return false;
        }
        done += written > 0 ? (size_t)written : 0;
    }
    return true;
}

/* All that is in it by now, while it grows. */
static bool pour(int from, int to, uint8_t digest[SHA256_DIGEST_SIZE]) {
    struct sha256_ctx context;
    UP_FREED uint8_t *piece = up_allocate(PIECE_BYTES, 1);
    ssize_t got = 0;
    sha256_init(&context);
    while ((got = read(from, piece, PIECE_BYTES)) > 0) {
        sha256_update(&context, (size_t)got, piece);
        if (!write_piece(to, piece, (size_t)got)) {
            return false;
        }
    }
    sha256_digest(&context, SHA256_DIGEST_SIZE, digest);
    return got == 0 && fsync(to) == 0;
}

static bool copy_file(const char *from, const char *to, struct up_failure *failure) {
    uint8_t read_digest[SHA256_DIGEST_SIZE], written_digest[SHA256_DIGEST_SIZE];
    int source = up_text_open_file(from, UP_LINKS_REFUSED, SIZE_MAX, failure);
    if (source < 0) {
        return false;
    }
    int target = open(to, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    bool good = target >= 0 && pour(source, target, read_digest);
    int cause = errno;
    if (target >= 0) {
        good = close(target) == 0 && good;
    }
    close(source);
    errno = cause;
    return (good || fail_at(to, failure)) && hash_of(to, written_digest, failure) &&
           (memcmp(read_digest, written_digest, sizeof read_digest) == 0 ||
            up_fail(failure, UP_STATUS_UNABLE,
                    "%s does not hold what was written: check the disk, or choose another folder",
                    to));
}

/* A folder of files and folders; no link is followed. */
static bool copy_folder(const char *from, const char *to, int depth, struct keep_copied *copied,
                        struct up_failure *failure) {
    DIR *stream = opendir(from);
    const struct dirent *entry;
    bool good = mkdir(to, 0777) == 0 || errno == EEXIST || fail_at(to, failure);
    while (good && stream != NULL && (entry = readdir(stream)) != NULL) {
        struct stat about;
        UP_FREED char *source = up_text_format("%s/%s", from, entry->d_name);
        UP_FREED char *target = up_text_format("%s/%s", to, entry->d_name);
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0) {
            continue;
        }
        if (lstat(source, &about) == 0 && S_ISDIR(about.st_mode) && depth > 0) {
            good = copy_folder(source, target, depth - 1, copied, failure);
        } else if (S_ISREG(about.st_mode)) {
            good = copy_file(source, target, failure);
            copied->files++;
        } else {
            copied->skipped++;
        }
    }
    if (stream != NULL) {
        closedir(stream);
    }
    return good && keep_sync(to, failure);
}

bool keep_copy_runs(const char *from, const char *to, struct keep_copied *copied,
                    struct up_failure *failure) {
    UP_FREED char *source = up_text_format("%s/runs", from);
    UP_FREED char *target = up_text_format("%s/runs", to);
    *copied = (struct keep_copied){0};
    return copy_folder(source, target, 1, copied, failure);
}
