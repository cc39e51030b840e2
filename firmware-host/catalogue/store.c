/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <time.h>
#include <unistd.h>

#include "internal.h"
#include "text/text.h"

int catalogue_patience_ms = 10000;

/* ---- failures ---- */

static bool fail_on_disk(struct up_catalogue *catalogue, int code, struct up_failure *failure) {
    int cause = sqlite3_system_errno(catalogue->database);
    return up_fail(failure, UP_STATUS_UNABLE,
                   "the disk under the catalogue %s fails (%s%s%s): free space or check the disk; "
                   "what was stored before is safe",
                   catalogue->directory, sqlite3_errstr(code), cause != 0 ? ", " : "",
                   cause != 0 ? strerror(cause) : "");
}

static bool fail_for_memory(struct up_catalogue *catalogue, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_UNABLE,
                   "there is not enough memory to use the catalogue %s: end other programs, then "
                   "try again; what was stored before is safe",
                   catalogue->directory);
}

bool catalogue_fail(struct up_catalogue *catalogue, int code, struct up_failure *failure) {
    const char *directory = catalogue->directory;
    switch (code & 0xFF) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the catalogue %s is locked by another program; end it or wait, then try "
                       "again",
                       directory);
    case SQLITE_NOTADB:
    case SQLITE_CORRUPT:
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s/catalogue.sqlite is not a catalogue (%s): restore a copy or choose "
                       "another --catalogue",
                       directory, sqlite3_errstr(code));
    case SQLITE_FULL:
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the disk under the catalogue %s is full: free space; what was stored "
                       "before is safe",
                       directory);
    case SQLITE_READONLY:
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the catalogue %s cannot be written, only read: ask for permission to write "
                       "there, or copy the whole directory to a place where you have it",
                       directory);
    case SQLITE_IOERR:
        return code == SQLITE_IOERR_NOMEM ? fail_for_memory(catalogue, failure)
                                          : fail_on_disk(catalogue, code, failure);
    case SQLITE_NOMEM:
        return fail_for_memory(catalogue, failure);
    default:
        return up_fail(failure, UP_STATUS_UNABLE,
                       "cannot use the catalogue %s: %s; check that you have permission to write "
                       "there, or copy the whole directory to a place where you have it",
                       directory, sqlite3_errmsg(catalogue->database));
    }
}

bool catalogue_run(struct up_catalogue *catalogue, const char *sql, struct up_failure *failure) {
    int code = sqlite3_exec(catalogue->database, sql, NULL, NULL, NULL);
    return code == SQLITE_OK || catalogue_fail(catalogue, code, failure);
}

/* ---- transactions ---- */

static bool check_still_there(struct up_catalogue *catalogue, struct up_failure *failure) {
    int moved = 0;
    sqlite3_file_control(catalogue->database, "main", SQLITE_FCNTL_HAS_MOVED, &moved);
    return moved == 0 ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "the catalogue %s was removed or replaced while it was in use: put it back and "
                   "start again; nothing more is stored",
                   catalogue->directory);
}

bool catalogue_begin(struct up_catalogue *catalogue, struct up_failure *failure) {
    /* Not a deferred transaction: one that read first could not wait for another writer. */
    if (catalogue->depth == 0 && (!check_still_there(catalogue, failure) ||
                                  !catalogue_run(catalogue, "BEGIN IMMEDIATE", failure))) {
        return false;
    }
    catalogue->signed_sequence = catalogue->depth == 0 ? 0 : catalogue->signed_sequence;
    if (catalogue->depth == 0) {
        catalogue_forget_touched(catalogue);
    }
    catalogue->depth++;
    /* Another program may have stored a record, or numbered them anew. */
    return catalogue->depth > 1 || catalogue_refit(catalogue, failure) ||
           catalogue_end(catalogue, false, failure);
}

bool catalogue_end(struct up_catalogue *catalogue, bool good, struct up_failure *failure) {
    catalogue->depth--;
    if (catalogue->depth > 0) {
        return good;
    }
    if (good && catalogue_settle_trust(catalogue, NULL, failure) &&
        catalogue_settle(catalogue, failure) && catalogue_run(catalogue, "COMMIT", failure)) {
        catalogue_note_signed(catalogue);
        return true;
    }
    sqlite3_exec(catalogue->database, "ROLLBACK", NULL, NULL, NULL);
    catalogue->unsettled = false; /* temporary tables go back with it */
    return false;
}

static bool ask_number(struct up_catalogue *catalogue, const char *sql, int *number,
                       struct up_failure *failure) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(catalogue->database, sql, -1, &statement, NULL);
    if (code == SQLITE_OK) {
        code = sqlite3_step(statement);
        *number = sqlite3_column_int(statement, 0);
    }
    sqlite3_finalize(statement);
    return code == SQLITE_ROW || catalogue_fail(catalogue, code, failure);
}

/* ---- directories ---- */

/* SQLite flushes the names in its own directory, but not that directory's name in its parent. */
static void flush_parent(const char *path) {
    UP_FREED char *copy = up_text_format("%s", path);
    int descriptor = open(dirname(copy), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        fsync(descriptor);
        close(descriptor);
    }
}

static bool make_directories(const char *directory, struct up_failure *failure) {
    static const char *const parts[] = {"", "/runs", "/plots", "/exchange"};
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        UP_FREED char *path = up_text_format("%s%s", directory, parts[i]);
        int code = mkdir(path, 0777) == 0 ? 0 : errno;
        if (code == 0) {
            flush_parent(path);
        }
        if (code != 0 && code != EEXIST) {
            return up_fail(failure, UP_STATUS_UNABLE,
                           "cannot make the catalogue %s: %s; choose another --catalogue",
                           directory, strerror(code));
        }
    }
    return true;
}

static bool type_of(const char *directory, unsigned long *type) {
    struct statfs about;
    bool good = statfs(directory, &about) == 0;
    *type = good ? (unsigned long)about.f_type & 0xFFFFFFFFUL : 0;
    return good;
}

bool (*catalogue_type_of)(const char *directory, unsigned long *type) = type_of;

/* FUSE is refused as a whole: what stands behind it cannot be asked, and mostly it is a network. */
bool catalogue_is_network(unsigned long type) {
    static const unsigned long known[] = {
        0x6969,                         /* NFS */
        0xFF534D42, 0xFE534D42, 0x517B, /* SMB: CIFS, SMB2, smbfs */
        0x01021997,                     /* 9p */
        0x65735546,                     /* FUSE */
        0x5346414F, 0x6B414653,         /* AFS, two of them */
        0x00C36400,                     /* Ceph */
        0x73757245,                     /* Coda */
        0x564C,                         /* NCP */
        0x01161970, 0x7461636F,         /* GFS2, OCFS2 */
        0x0BD00BD0,                     /* Lustre */
        0x786F4256,                     /* a virtual machine's shared folder */
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (known[i] == type) {
            return true;
        }
    }
    return false;
}

/* SQLite's write-ahead log needs memory shared by all who use it, which a network drive lacks. */
static bool refuse_network(const char *directory, struct up_failure *failure) {
    unsigned long type = 0;
    return !catalogue_type_of(directory, &type) || !catalogue_is_network(type) ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "%s lies on a network drive, where a catalogue is not safe: keep it on this "
                   "machine and export from there",
                   directory);
}

static bool missing(const char *directory, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_UNABLE,
                   "there is no catalogue in %s: `upthrust item add` begins one, or name another "
                   "with --catalogue",
                   directory);
}

static bool check_there(const char *directory, const char *path, struct up_failure *failure) {
    if (access(path, F_OK) == 0) {
        return true;
    }
    return errno == ENOENT || errno == ENOTDIR
               ? missing(directory, failure)
               : up_fail(failure, UP_STATUS_UNABLE, "cannot reach the catalogue %s: %s", directory,
                         strerror(errno));
}

/* ---- locks on directories ---- */

int catalogue_lock_directory(const char *directory, struct up_failure *failure) {
    enum { PAUSE_MS = 20 };
    const struct timespec pause = {.tv_nsec = PAUSE_MS * 1000000L};
    int descriptor = open(directory, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor < 0) {
        up_fail(failure, UP_STATUS_UNABLE, "cannot open the directory %s: %s", directory,
                strerror(errno));
        return -1;
    }
    int remaining_ms = catalogue_patience_ms;
    while (flock(descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
        if ((remaining_ms -= PAUSE_MS) < 0) {
            close(descriptor);
            up_fail(failure, UP_STATUS_UNABLE,
                    "another program is writing to %s and does not end: end it or wait, then try "
                    "again",
                    directory);
            return -1;
        }
        nanosleep(&pause, NULL);
    }
    return descriptor;
}

/* ---- opening ---- */

/* In a directory that cannot be written SQLite can make no shared-memory file; where no writer has
   left a log behind, the file alone is whole. */
static bool is_immutable(const char *directory, const char *path) {
    struct stat about;
    UP_FREED char *log = up_text_format("%s-wal", path);
    bool logged = stat(log, &about) == 0 && about.st_size > 0;
    return !logged && access(directory, W_OK) != 0;
}

/* A URI whatever the mode: some builds of SQLite take any name that begins with "file:" for one. */
char *catalogue_uri(const char *path, const char *query) {
    char *escaped = up_allocate(strlen(path) + 1, 3);
    char *to = escaped;
    for (const char *from = path; *from != '\0'; from++) {
        if (strchr("%?#", *from) != NULL) { /* these mean something in a URI */
            to += sprintf(to, "%%%02X", (unsigned char)*from);
        } else {
            *to++ = *from;
        }
    }
    /* With an empty authority a path that begins with two slashes stays a path. */
    char *uri = up_text_format("file:%s%s%s", path[0] == '/' ? "//" : "", escaped, query);
    free(escaped);
    return uri;
}

static char *uri_of(const char *directory, const char *path, enum up_catalogue_mode mode) {
    static const char *const words[] = {[UP_CATALOGUE_READ] = "?mode=ro",
                                        [UP_CATALOGUE_WRITE] = "?mode=rw",
                                        [UP_CATALOGUE_CREATE] = "?mode=rwc"};
    bool immutable = mode == UP_CATALOGUE_READ && is_immutable(directory, path);
    return catalogue_uri(path, immutable ? "?mode=ro&immutable=1" : words[mode]);
}

/* Far above what a catalogue holds, far below what would fill memory or never end. */
static void set_limits(sqlite3 *database) {
    static const int limits[][2] = {{SQLITE_LIMIT_LENGTH, 16 << 20},
                                    {SQLITE_LIMIT_SQL_LENGTH, 1 << 20},
                                    {SQLITE_LIMIT_TRIGGER_DEPTH, 10},
                                    {SQLITE_LIMIT_ATTACHED, 1}};
    for (size_t i = 0; i < sizeof limits / sizeof limits[0]; i++) {
        sqlite3_limit(database, limits[i][0], limits[i][1]);
    }
}

static bool open_database(struct up_catalogue *catalogue, const char *path,
                          enum up_catalogue_mode mode, struct up_failure *failure) {
    UP_FREED char *uri = uri_of(catalogue->directory, path, mode);
    int code = sqlite3_open_v2(uri, &catalogue->database,
                               SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_URI, NULL);
    if (code != SQLITE_OK) {
        return catalogue_fail(catalogue, code, failure);
    }
    sqlite3_extended_result_codes(catalogue->database, 1);
    sqlite3_busy_timeout(catalogue->database, catalogue_patience_ms);
    /* A catalogue may come from somebody else: its views and triggers get no say beyond SQL. (With
       this, SQLite 3.40 refuses json_extract in views; they are for others, not for us.) */
    sqlite3_db_config(catalogue->database, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    sqlite3_db_config(catalogue->database, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    set_limits(catalogue->database);
    /* Where the file cannot be written, SQLite opens it for reading without a word. */
    return mode == UP_CATALOGUE_READ || sqlite3_db_readonly(catalogue->database, "main") == 0 ||
           catalogue_fail(catalogue, SQLITE_READONLY, failure);
}

struct marks {
    int application, version, tables;
};

/* All three of one moment: another program may be making the tables. */
static bool read_marks(struct up_catalogue *catalogue, struct marks *marks,
                       struct up_failure *failure) {
    *marks = (struct marks){0};
    if (!catalogue_run(catalogue, "SAVEPOINT marks", failure)) {
        return false;
    }
    bool good =
        ask_number(catalogue, "PRAGMA application_id", &marks->application, failure) &&
        ask_number(catalogue, "PRAGMA user_version", &marks->version, failure) &&
        ask_number(catalogue, "SELECT count(*) FROM sqlite_master", &marks->tables, failure);
    sqlite3_exec(catalogue->database, "RELEASE marks", NULL, NULL, NULL);
    return good;
}

static bool is_blank(const struct marks *marks) {
    return marks->application == 0 && marks->version == 0 && marks->tables == 0;
}

static bool make_tables(struct up_catalogue *catalogue, struct up_failure *failure) {
    struct marks marks;
    if (!read_marks(catalogue, &marks, failure)) {
        return false;
    }
    if (!is_blank(&marks)) { /* another program was first */
        return true;
    }
    UP_FREED char *schema = catalogue_schema();
    UP_FREED char *sql = up_text_format("%sPRAGMA application_id = %d; PRAGMA user_version = %d;",
                                        schema, APPLICATION_ID, SCHEMA_VERSION);
    return catalogue_run(catalogue, sql, failure);
}

static bool sync_at(const char *path, bool directory) {
    int descriptor = open(path, (directory ? O_RDONLY | O_DIRECTORY : O_RDWR) | O_CLOEXEC);
    bool good = descriptor >= 0 && fsync(descriptor) == 0;
    if (descriptor >= 0) {
        close(descriptor);
    }
    return good;
}

/* The file as it is before its tables change, beside it: whole or not at all, and the first one
   stays. With the rights of the file itself. */
static bool keep_old(struct up_catalogue *catalogue, int version, struct up_failure *failure) {
    struct stat about;
    const char *directory = catalogue->directory;
    UP_FREED char *path = up_text_format("%s/catalogue.sqlite", directory);
    UP_FREED char *kept = up_text_format("%s/catalogue-of-version-%d.sqlite", directory, version);
    UP_FREED char *part = up_text_format("%s.part-%ld", kept, (long)getpid());
    if (lstat(kept, &about) == 0) {
        return true;
    }
    unlink(part);
    sqlite3_stmt *statement =
        catalogue_prepare(catalogue, "VACUUM INTO ?", (const char *[]){part}, 1, failure);
    bool good = statement != NULL &&
                catalogue_finish(catalogue, statement, sqlite3_step(statement), failure);
    if (good && (stat(path, &about) != 0 || chmod(part, about.st_mode & 0777) != 0 ||
                 !sync_at(part, false) || rename(part, kept) != 0 || !sync_at(directory, true))) {
        good = up_fail(failure, UP_STATUS_UNABLE,
                       "cannot keep %s as it was before its tables change: %s; free space, then "
                       "try again",
                       kept, strerror(errno));
    }
    if (!good) {
        unlink(part);
    }
    return good;
}

/* Another program may have been first; a mark of a newer one stays. What the tables say goes before
   a number that was set back. */
static bool bring_up_to_date(struct up_catalogue *catalogue, struct up_failure *failure) {
    struct marks marks;
    if (!keep_old(catalogue, catalogue->version, failure) || !catalogue_begin(catalogue, failure)) {
        return false;
    }
    bool good = read_marks(catalogue, &marks, failure);
    if (good && marks.version < SCHEMA_VERSION) {
        int from = catalogue->version > marks.version ? catalogue->version : marks.version;
        UP_FREED char *migration = catalogue_migration(from);
        UP_FREED char *sql =
            up_text_format("%sPRAGMA user_version = %d;", migration, SCHEMA_VERSION);
        good = catalogue_run(catalogue, sql, failure) &&
               (marks.version >= TRUST_SINCE || catalogue_touch_all(catalogue, failure));
    }
    return catalogue_end(catalogue, good, failure);
}

/* SQLite does not wait by itself where two programs begin the log at once. */
static bool enable_log(struct up_catalogue *catalogue, struct up_failure *failure) {
    enum { PAUSE_MS = 20 };
    const struct timespec pause = {.tv_nsec = PAUSE_MS * 1000000L};
    int code = SQLITE_BUSY;
    for (int remaining_ms = catalogue_patience_ms;
         (code & 0xFF) == SQLITE_BUSY && remaining_ms >= 0; remaining_ms -= PAUSE_MS) {
        code = sqlite3_exec(catalogue->database, "PRAGMA journal_mode = WAL", NULL, NULL, NULL);
        if (code != SQLITE_OK) {
            nanosleep(&pause, NULL);
        }
    }
    return code == SQLITE_OK || catalogue_fail(catalogue, code, failure);
}

static bool check_marks(struct up_catalogue *catalogue, enum up_catalogue_mode mode,
                        struct up_failure *failure) {
    struct marks marks;
    if (!read_marks(catalogue, &marks, failure)) {
        return false;
    }
    if (is_blank(&marks)) {
        if (mode != UP_CATALOGUE_CREATE) {
            return missing(catalogue->directory, failure);
        }
        if (!(enable_log(catalogue, failure) && catalogue_begin(catalogue, failure) &&
              catalogue_end(catalogue, make_tables(catalogue, failure), failure)) ||
            !read_marks(catalogue, &marks, failure)) {
            return false;
        }
    }
    if (marks.application != APPLICATION_ID || marks.version < 1) {
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "%s/catalogue.sqlite is not a catalogue of upthrust: choose another --catalogue",
            catalogue->directory);
    }
    catalogue->version = catalogue->number = marks.version;
    if (marks.version > SCHEMA_VERSION) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the catalogue %s was made by a newer upthrust (version %d of the tables, "
                       "this program knows %d): update upthrust",
                       catalogue->directory, marks.version, SCHEMA_VERSION);
    }
    return catalogue_check_schema(catalogue, failure);
}

/* SQLite opens what lies beside its file without looking, and would wait for a pipe for ever. */
static bool check_beside(const char *path, struct up_failure *failure) {
    static const char *const endings[] = {"-journal", "-wal", "-shm"};
    bool good = true;
    for (size_t i = 0; good && i < sizeof endings / sizeof endings[0]; i++) {
        struct stat about;
        UP_FREED char *beside = up_text_format("%s%s", path, endings[i]);
        good =
            lstat(beside, &about) != 0 || S_ISREG(about.st_mode) ||
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "%s is not a file: take it away, or restore a copy of the catalogue", beside);
    }
    return good;
}

static bool prepare_place(const char *directory, const char *path, enum up_catalogue_mode mode,
                          struct up_failure *failure) {
    struct stat about;
    bool good = mode == UP_CATALOGUE_CREATE ? make_directories(directory, failure)
                                            : check_there(directory, path, failure);
    if (good && lstat(path, &about) == 0 && !S_ISREG(about.st_mode)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       S_ISLNK(about.st_mode)
                           ? "%s is a link, which is not followed: name the folder of the file "
                             "itself"
                           : "%s is not a file: a catalogue is a file in a folder of its own",
                       path);
    }
    return good && check_beside(path, failure) &&
           (mode == UP_CATALOGUE_READ || refuse_network(directory, failure));
}

static bool open_all(struct up_catalogue *catalogue, enum up_catalogue_mode mode,
                     struct up_failure *failure) {
    UP_FREED char *path = up_text_format("%s/catalogue.sqlite", catalogue->directory);
    bool good = prepare_place(catalogue->directory, path, mode, failure) &&
                open_database(catalogue, path, mode, failure) &&
                catalogue_run(catalogue,
                              "PRAGMA synchronous = FULL; PRAGMA recursive_triggers = ON;"
                              "PRAGMA cell_size_check = ON; PRAGMA secure_delete = ON;"
                              "PRAGMA temp_store = MEMORY;"
                              "CREATE TEMP TABLE unsettled (kind TEXT, subject TEXT,"
                              " PRIMARY KEY (kind, subject)) WITHOUT ROWID",
                              failure) &&
                check_marks(catalogue, mode, failure);
    if (good && mode != UP_CATALOGUE_READ && catalogue->number < SCHEMA_VERSION) {
        good = bring_up_to_date(catalogue, failure);
        catalogue->version = SCHEMA_VERSION;
    }
    if (good && catalogue->version < 4) {
        good = catalogue_run(catalogue, catalogue_marks_for_now, failure);
    }
    if (good && catalogue->version < TRUST_SINCE) {
        good = catalogue_run(catalogue, catalogue_trust_for_now, failure);
    }
    if (good && catalogue->version < TRUST_SINCE && catalogue->version >= SIGNED_SINCE) {
        good = catalogue_settle_for_now(catalogue, failure);
    }
    catalogue->writes = mode != UP_CATALOGUE_READ;
    return good && catalogue_settle_tables(catalogue, failure);
}

bool up_catalogue_open(const char *directory, enum up_catalogue_mode mode,
                       struct up_catalogue **result, struct up_failure *failure) {
    struct up_catalogue *catalogue = up_allocate(1, sizeof *catalogue);
    up_json_keep_whole();
    catalogue->directory = up_text_format("%s", directory[0] != '\0' ? directory : ".");
    *result = NULL;
    if (!open_all(catalogue, mode, failure)) {
        up_catalogue_close(catalogue);
        return false;
    }
    *result = catalogue;
    return true;
}

void catalogue_close_database(struct up_catalogue *catalogue) {
    for (size_t i = 0; i < CATALOGUE_STATEMENTS; i++) {
        sqlite3_finalize(catalogue->ready[i]);
        catalogue->ready[i] = NULL;
    }
    catalogue_forget_types(catalogue);
    sqlite3_close(catalogue->database);
    catalogue->database = NULL;
}

void up_catalogue_close(struct up_catalogue *catalogue) {
    if (catalogue != NULL) {
        catalogue_forget_touched(catalogue);
        catalogue_close_database(catalogue);
        up_writer_forget(&catalogue->writer);
        free(catalogue->directory);
        free(catalogue);
    }
}

const char *up_catalogue_directory(const struct up_catalogue *catalogue) {
    return catalogue->directory;
}
