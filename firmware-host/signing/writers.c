/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The key pairs of this account, in its own folder: PLACE.key signs for a place, KEY.old has been
   succeeded. Reading needs no lock, as a file takes its place whole; whoever writes holds the
   folder's lock, so that one name will do for what is being written. */
#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "signing/internal.h"
#include "text/text.h"

enum { FILE_MOST = 1024, FILE_SIZE = FILE_MOST + 1, LOCK_TRIES = 500, LOCK_WAIT_MS = 10 };

#define NEW "new" /* what is being written */

/* ---- the folder ---- */

/* NAME and ending in it, freed by the caller; NULL where the account has no home. */
static char *path_of(const char *name, const char *ending, struct up_failure *failure) {
    UP_FREED char *file = up_text_format("writers/%s%s", name, ending);
    char *path = up_text_state_path(file);
    if (path == NULL) {
        up_fail(failure, UP_STATUS_UNABLE,
                "there is no place for the key of this account: set HOME, or XDG_STATE_HOME to a "
                "folder that can be written");
    }
    return path;
}

/* May be -1. */
static void close_file(int descriptor) {
    if (descriptor >= 0) {
        close(descriptor);
    }
}

static bool fail_to_keep(int code, struct up_failure *failure) {
    UP_FREED char *folder = up_text_state_path("writers");
    if (code == EWOULDBLOCK) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "another program holds %.200s/lock: end it, then try again", folder);
    }
    return up_fail(failure, UP_STATUS_UNABLE,
                   "cannot keep the key of this account in %.200s: %s; let this account read and "
                   "write what lies there, or name another folder in XDG_STATE_HOME",
                   folder,
                   code == ENOTSUP ? "its file system shows every file to others" : strerror(code));
}

static bool is_open_to_others(int descriptor) {
    struct stat about;
    return fstat(descriptor, &about) != 0 || (about.st_mode & 077) != 0;
}

/* Whether a mode can be taken from a file: not on FAT, nor on a mount that gives all files one. */
static bool keeps_modes(int descriptor) {
    struct stat about;
    bool keeps = fstat(descriptor, &about) == 0 && fchmod(descriptor, 0600) == 0 &&
                 !is_open_to_others(descriptor);
    return keeps && fchmod(descriptor, about.st_mode & 07777) == 0;
}

/* False with errno. Another program has it for some milliseconds. */
static bool wait_for_lock(int descriptor) {
    const struct timespec wait = {0, LOCK_WAIT_MS * 1000000L};
    bool locked = flock(descriptor, LOCK_EX | LOCK_NB) == 0;
    for (int tries = 0; !locked && errno == EWOULDBLOCK && tries < LOCK_TRIES; tries++) {
        nanosleep(&wait, NULL);
        locked = flock(descriptor, LOCK_EX | LOCK_NB) == 0;
    }
    return locked;
}

/* A descriptor whose end ends the lock; -1 with a failure. */
static int lock_folder(struct up_failure *failure) {
    UP_FREED char *path = path_of("lock", "", failure);
    if (path == NULL) {
        return -1;
    }
    int code = up_text_make_parents(path);
    int descriptor = open(path, O_RDWR | O_CREAT | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC, 0600);
    if (descriptor < 0 || !wait_for_lock(descriptor)) {
        fail_to_keep(code != 0 ? code : errno, failure);
        close_file(descriptor);
        return -1;
    }
    return descriptor;
}

/* ---- a file ---- */

/* Its text; a secret, which whoever calls this wipes. */
static void print_writer(const struct up_writer *writer, char text[FILE_SIZE]) {
    char seed[2 * UP_SEED_BYTES + 1];
    signing_to_hex(writer->seed, sizeof writer->seed, seed);
    snprintf(text, FILE_SIZE,
             "{\"format\":1,\"public_key\":\"%s\",\"seed\":\"%s\",\"succeeds\":\"%s\","
             "\"sequence\":%lld,\"hash\":\"%s\"}\n",
             writer->public_key, seed, writer->succeeds, writer->sequence, writer->hash);
    explicit_bzero(seed, sizeof seed);
}

/* "NAME":"DIGITS" as print_writer writes it; steps behind. */
static bool scan_digits(const char **at, const char *name, size_t most, char *digits) {
    size_t length = strlen(name), count = 0;
    if (strncmp(*at, name, length) == 0) {
        count = strspn(*at + length, "0123456789abcdef");
        *at += length + count;
    }
    if (count > most) {
        count = 0;
    }
    memcpy(digits, *at - count, count);
    digits[count] = '\0';
    return count == 0 || count == most;
}

/* No parser of JSON, which would leave the secret in memory: what comes out is printed again, and
   must be the same to the byte. */
static bool scan_writer(const char *text, struct up_writer *writer) {
    char seed[2 * UP_SEED_BYTES + 1], key[UP_KEY_SIZE] = "", again[FILE_SIZE];
    const char *at = text;
    bool good =
        scan_digits(&at, "{\"format\":1,\"public_key\":\"", UP_KEY_SIZE - 1, writer->public_key) &&
        scan_digits(&at, "\",\"seed\":\"", sizeof seed - 1, seed) &&
        signing_from_hex(seed, sizeof writer->seed, writer->seed) &&
        scan_digits(&at, "\",\"succeeds\":\"", UP_KEY_SIZE - 1, writer->succeeds);
    const char *count = good ? strstr(at, ":") : NULL,
               *hash = good ? strstr(at, "hash\":\"") : NULL;
    if (count != NULL && hash != NULL) {
        writer->sequence = strtoll(count + 1, NULL, 10);
        good = scan_digits(&hash, "hash\":\"", UP_SHA256_SIZE - 1, writer->hash);
        up_key_public(writer->seed, key);
    }
    print_writer(writer, again);
    good = good && strcmp(text, again) == 0 && strcmp(key, writer->public_key) == 0 &&
           writer->sequence >= 0 && writer->sequence <= SEQUENCE_MOST &&
           (writer->sequence == 0) == (writer->hash[0] == '\0');
    explicit_bzero(seed, sizeof seed);
    explicit_bzero(again, sizeof again);
    return good;
}

/* False where it cannot be read. A file of ours is read in one piece. */
static bool read_text(int descriptor, const char *path, char text[FILE_SIZE],
                      struct up_failure *failure) {
    if (is_open_to_others(descriptor)) {
        return keeps_modes(descriptor)
                   ? up_fail(failure, UP_STATUS_WRONG_INPUT,
                             "the key of this account is open to others: chmod 600 %.300s", path)
                   : fail_to_keep(ENOTSUP, failure);
    }
    ssize_t length = read(descriptor, text, FILE_MOST);
    text[length > 0 ? length : 0] = '\0';
    return length >= 0 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT, "cannot read %.300s: %s", path, strerror(errno));
}

/* With `writer` empty and no failure where there is none. */
static bool read_writer(const char *path, struct up_writer *writer, struct up_failure *failure) {
    struct stat about;
    char text[FILE_SIZE] = "";
    *writer = (struct up_writer){.sequence = 0};
    if (lstat(path, &about) != 0) {
        return errno == ENOENT || errno == ENOTDIR || fail_to_keep(errno, failure);
    }
    /* It belongs to somebody else, as after sudo. */
    if (S_ISREG(about.st_mode) && faccessat(AT_FDCWD, path, R_OK, AT_EACCESS) != 0) {
        return fail_to_keep(errno, failure);
    }
    int descriptor = up_text_open_file(path, UP_LINKS_REFUSED, FILE_MOST, failure);
    bool good = descriptor >= 0 && read_text(descriptor, path, text, failure);
    if (good && !scan_writer(text, writer)) {
        good =
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "the key of this account in %.200s is damaged: put it back from a backup, or "
                    "move it away, and the next record begins with a new key",
                    path);
    }
    explicit_bzero(text, sizeof text);
    close_file(descriptor);
    if (!good) {
        up_writer_forget(writer);
    }
    return good;
}

static bool write_text(int descriptor, const char *text) {
    size_t length = strlen(text), done = 0;
    while (done < length) {
        ssize_t more = write(descriptor, text + done, length - done);
        if (more < 0 && errno != EINTR) {
            return false;
        }
        done += more > 0 ? (size_t)more : 0;
    }
    /* Whatever the umask. */
    if (fchmod(descriptor, 0600) != 0) {
        return false;
    }
    if (is_open_to_others(descriptor)) {
        errno = ENOTSUP;
        return false;
    }
    return fsync(descriptor) == 0;
}

/* So that the name is on the disk too; some file systems cannot, which is no fault. */
static void flush_folder(const char *path) {
    UP_FREED char *copy = up_text_format("%s", path);
    int descriptor = open(dirname(copy), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        fsync(descriptor);
        close(descriptor);
    }
}

/* Whole or not at all, under the lock. */
static bool write_writer(const char *path, const struct up_writer *writer,
                         struct up_failure *failure) {
    UP_FREED char *part = path_of(NEW, "", failure);
    char text[FILE_SIZE];
    if (part == NULL) {
        return false;
    }
    unlink(part); /* left by a program that was killed */
    int descriptor = open(part, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
    print_writer(writer, text);
    bool good = descriptor >= 0 && write_text(descriptor, text) && rename(part, path) == 0;
    explicit_bzero(text, sizeof text);
    if (!good) {
        fail_to_keep(errno, failure);
        unlink(part);
    } else {
        flush_folder(path);
    }
    close_file(descriptor);
    return good;
}

/* ---- the writers ---- */

void up_writer_forget(struct up_writer *writer) {
    explicit_bzero(writer, sizeof *writer);
}

static bool make_writer(struct up_writer *writer, const char *succeeds,
                        struct up_failure *failure) {
    *writer = (struct up_writer){.sequence = 0};
    if (!up_key_make(writer->seed)) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "this system gives no random numbers for a key (getrandom): %s",
                       strerror(errno));
    }
    up_key_public(writer->seed, writer->public_key);
    snprintf(writer->succeeds, sizeof writer->succeeds, "%s", succeeds);
    return true;
}

/* Under the lock: another program may have been first. */
static bool open_or_make(const char *path, struct up_writer *writer, bool *is_new,
                         struct up_failure *failure) {
    int lock = lock_folder(failure);
    bool good = lock >= 0 && read_writer(path, writer, failure);
    if (good && writer->public_key[0] == '\0') {
        good = make_writer(writer, "", failure) && write_writer(path, writer, failure);
        *is_new = good;
    }
    close_file(lock);
    return good;
}

bool up_writer_open(const char *place, struct up_writer *writer, bool *is_new,
                    struct up_failure *failure) {
    assert(up_text_is_hex(place, UP_SHA256_SIZE - 1));
    UP_FREED char *path = path_of(place, ".key", failure);
    *is_new = false;
    *writer = (struct up_writer){.sequence = 0};
    bool good = path != NULL && read_writer(path, writer, failure);
    if (good && writer->public_key[0] == '\0') {
        good = open_or_make(path, writer, is_new, failure);
    }
    if (!good) {
        up_writer_forget(writer);
    }
    return good;
}

/* `now` is what stands at `path`, and gives way. */
static bool succeed(const char *path, const struct up_writer *now, struct up_writer *next,
                    struct up_failure *failure) {
    UP_FREED char *old = path_of(now->public_key, ".old", failure);
    /* The old one first: killed in between, it signs on. */
    return old != NULL && make_writer(next, now->public_key, failure) &&
           write_writer(old, now, failure) && write_writer(path, next, failure);
}

bool up_writer_renew(const char *place, struct up_writer *writer, struct up_failure *failure) {
    assert(up_text_is_hex(place, UP_SHA256_SIZE - 1));
    struct up_writer now = {.sequence = 0}, next = {.sequence = 0};
    UP_FREED char *path = path_of(place, ".key", failure);
    int lock = path != NULL ? lock_folder(failure) : -1;
    bool good = lock >= 0 && read_writer(path, &now, failure);
    if (good && now.public_key[0] == '\0') { /* it was taken away meanwhile */
        now = *writer;
    }
    if (good && strcmp(now.public_key, writer->public_key) == 0) {
        good = succeed(path, &now, &next, failure);
    } else {
        next = now;
    }
    if (good) {
        *writer = next;
    }
    close_file(lock);
    up_writer_forget(&now);
    up_writer_forget(&next);
    return good;
}

bool up_writer_retired(const char *public_key, struct up_writer *writer,
                       struct up_failure *failure) {
    assert(up_text_is_hex(public_key, UP_KEY_SIZE - 1));
    UP_FREED char *path = path_of(public_key, ".old", failure);
    *writer = (struct up_writer){.sequence = 0};
    return path != NULL && read_writer(path, writer, failure) &&
           (writer->public_key[0] != '\0' ||
            up_fail(failure, UP_STATUS_WRONG_INPUT, "there is no %.300s: put it back from a backup",
                    path));
}

/* Where a writer's file is now, and what it holds. */
static char *find(const char *place, const struct up_writer *writer, struct up_writer *noted,
                  struct up_failure *failure) {
    static const char *const ending[] = {".key", ".old"};
    for (size_t i = 0; i < 2; i++) {
        char *path = path_of(i == 0 ? place : writer->public_key, ending[i], failure);
        if (path == NULL || !read_writer(path, noted, failure)) {
            free(path);
            return NULL;
        }
        if (strcmp(noted->public_key, writer->public_key) == 0) {
            return path;
        }
        free(path);
    }
    up_fail(failure, UP_STATUS_UNABLE,
            "the key that this program signs with is no longer in upthrust/writers of "
            "XDG_STATE_HOME: put it back from a backup");
    return NULL;
}

bool up_writer_note(const char *place, struct up_writer *writer, long long sequence,
                    const char *hash, struct up_failure *failure) {
    assert(up_text_is_hex(place, UP_SHA256_SIZE - 1) && sequence > 0 && sequence <= SEQUENCE_MOST);
    assert(up_text_is_hex(hash, UP_SHA256_SIZE - 1));
    struct up_writer noted = {.sequence = 0};
    int lock = lock_folder(failure);
    UP_FREED char *path = lock >= 0 ? find(place, writer, &noted, failure) : NULL;
    bool good = path != NULL;
    if (good && noted.sequence < sequence) {
        noted.sequence = sequence;
        snprintf(noted.hash, sizeof noted.hash, "%s", hash);
        good = write_writer(path, &noted, failure);
    }
    if (good) {
        *writer = noted;
    }
    close_file(lock);
    up_writer_forget(&noted);
    return good;
}
