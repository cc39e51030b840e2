/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of catalogue/ share and nobody else needs. */
#pragma once

#include <sqlite3.h>

#include "catalogue/kind.h"
#include "catalogue/private.h"
#include "catalogue/records.h"
#include "members.h"
#include "signing/signing.h"
#include "text/json.h"

enum {
    APPLICATION_ID = 0x75705442, /* "upTB" */
    SCHEMA_VERSION = 10,
    SIGNED_SINCE = 9,
    PRIVATE_SINCE = 10,
    TYPED_SINCE = 10,
    TRUST_SINCE = 10,
};

/* What trust is settled for when a transaction ends. */
struct catalogue_touched {
    json_t *writers, *subjects; /* keys of objects; NULL: none. A subject: kind, blank, id */
    json_t *sole;               /* subjects of many versions, all of this writer's */
    bool trust;                 /* what is given here, or what writers say of keys */
};

enum { CATALOGUE_STATEMENTS = 64, CATALOGUE_TABLES = 16 };

struct up_catalogue {
    sqlite3 *database;
    /* Statements that were prepared once, by catalogue_ready, and those that fill a typed table. */
    sqlite3_stmt *ready[CATALOGUE_STATEMENTS], *types[CATALOGUE_TABLES], *words;
    unsigned next_ready;
    char *directory;
    int version; /* of the tables; an old one is brought up to date where it may be written */
    int number;  /* that the file gives itself: an older program may have set it back */
    int depth;   /* of transactions within one another */
    bool writes;
    bool typed;       /* the tables made of the records are there */
    bool passed_over; /* something changed before they were there */
    bool unsettled;   /* things changed whose tables are not settled yet */
    bool focused;     /* see up_catalogue_focus */
    void (*watch)(const char *doing, unsigned long done); /* NULL: nobody waits */
    struct up_writer writer;                              /* no key until something is stored */
    bool key_passes; /* it is kept nowhere, and ends with the program */
    /* the last record that this transaction signed; 0: none */
    long long signed_sequence;
    char signed_hash[UP_SHA256_SIZE];
    struct catalogue_touched touched; /* by this transaction */
};

/* How long a lock held by another program is waited for; tests shorten it. */
extern int catalogue_patience_ms;

/* Added to the wall clock: tests let it step. */
extern long catalogue_clock_step_s;

/* Tests store records as programs did before there were signatures. */
extern bool catalogue_signs;

/* ---- store.c ---- */

/* With the statements that were kept ready. */
void catalogue_close_database(struct up_catalogue *catalogue);
/* Explains an SQLite code to the user; returns false. */
bool catalogue_fail(struct up_catalogue *catalogue, int code, struct up_failure *failure);
bool catalogue_run(struct up_catalogue *catalogue, const char *sql, struct up_failure *failure);

/* Writing transactions (BEGIN IMMEDIATE); one within another joins it. `end` commits where all was
   good, else takes everything back, and returns whether it is stored. `begin` refuses where the
   file was removed or replaced: SQLite would go on writing to one that nobody can see. */
bool catalogue_begin(struct up_catalogue *catalogue, struct up_failure *failure);
bool catalogue_end(struct up_catalogue *catalogue, bool good, struct up_failure *failure);

/* The file as SQLite is asked to open it, with "?mode=..."; the caller's. */
char *catalogue_uri(const char *path, const char *query);

/* A lock on a directory, for the lifetime of the descriptor; waited for as long as the database's.
   -1 where it fails. Where the file system knows no locks, there is none. */
int catalogue_lock_directory(const char *directory, struct up_failure *failure);

/* The type of the file system that holds a directory, as statfs reports it; tests replace it. */
extern bool (*catalogue_type_of)(const char *directory, unsigned long *type);
bool catalogue_is_network(unsigned long type);

/* ---- schema.c ---- */

/* The public form of one kind: an SQL view, a CSV file and a list in the JSON document, all with
   the same names. Once released, columns are only added, at the end. */
struct catalogue_table {
    const char *kind;    /* of the records, and the view's name */
    const char *id_name; /* the first column: the thing's id */
    const char *file, *list;
    const struct catalogue_member *members;
    bool alone; /* each record is a thing of its own, whose id it has, or replaces that */
    const char *(*fault)(const json_t *content); /* of members together; NULL where there is none */
};

/* The view "plateau". */
extern const struct catalogue_member catalogue_plateau_members[];
extern const struct catalogue_member catalogue_item_members[], catalogue_calibration_members[],
    catalogue_result_members[], catalogue_decision_members[], catalogue_reference_members[],
    catalogue_check_members[], catalogue_kind_members[], catalogue_rig_members[],
    catalogue_run_members[], catalogue_trial_members[], catalogue_writer_members[],
    catalogue_held_members[], catalogue_vouching_members[], catalogue_rotation_members[],
    catalogue_revocation_members[], catalogue_recall_members[];

extern const struct catalogue_table catalogue_tables[CATALOGUE_TABLES];
const struct catalogue_table *catalogue_table_of(const char *kind);

/* SQL that makes tables, triggers and views, or brings those of an older version up to date; freed
   by the caller. */
char *catalogue_schema(void);
/* The tables, indexes and triggers alone, of the tables of a version. */
char *catalogue_tables_of(int version);
#define CATALOGUE_TABLE_NAMES                                                                      \
    "('record', 'replaces', 'bench_counter', 'local_mark', 'contested',"                           \
    " 'signed', 'detail', 'private', 'trusted', 'standing', 'rotated', 'revoked', 'recalled',"     \
    " 'left_out')"
char *catalogue_migration(int version);
/* The rules that contested.c and keep/redact.c lift. */
#define CATALOGUE_RECORD_KEPT                                                                      \
    "CREATE TRIGGER record_kept BEFORE UPDATE ON record"                                           \
    " BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
#define CATALOGUE_DETAIL_STAYS(missing)                                                            \
    "CREATE TRIGGER " missing "detail_stays BEFORE DELETE ON detail"                               \
    " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;"
#define CATALOGUE_RECORD_STAYS                                                                     \
    "CREATE TRIGGER record_stays BEFORE DELETE ON record"                                          \
    " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;"
#define CATALOGUE_REPLACES_STAYS                                                                   \
    "CREATE TRIGGER replaces_stays BEFORE DELETE ON replaces"                                      \
    " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;"

/* The one that signed.c lifts. */
#define CATALOGUE_SIGNED_KEPT_(missing)                                                            \
    "CREATE TRIGGER " missing "signed_kept BEFORE UPDATE ON signed"                                \
    " BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
#define CATALOGUE_SIGNED_KEPT CATALOGUE_SIGNED_KEPT_("")

/* SQL that fills bench_counter from the records. */
extern const char catalogue_count_again[];
/* SQL for a file from before the marks that can only be read: a table of them in memory. And for
   one from before trust. */
extern const char catalogue_marks_for_now[];
extern const char catalogue_trust_for_now[];

/* ---- typed.c ---- */

/* The tables made of the records: SQL that makes them, freed by the caller; `where` "" or
   "temp.". */
char *catalogue_typed_tables(const char *where);
/* At opening: tables that do not fit the records, the clock or this program are made anew; in
   memory where the file can only be read. */
bool catalogue_settle_tables(struct up_catalogue *catalogue, struct up_failure *failure);
/* The same before something is read, where only a record or the clock can have come between. */
bool catalogue_refresh(struct up_catalogue *catalogue, struct up_failure *failure);
/* All of them anew. Within a transaction. */
bool catalogue_rebuild(struct up_catalogue *catalogue, struct up_failure *failure);
/* The same at the beginning of a transaction. */
bool catalogue_refit(struct up_catalogue *catalogue, struct up_failure *failure);
/* Something was stored or marked that may change what counts of a thing, or of those that have a
   record of this id; settled when the transaction ends, or before. Within a transaction. */
bool catalogue_unsettle(struct up_catalogue *catalogue, const char *kind, const char *subject,
                        struct up_failure *failure);
bool catalogue_unsettle_id(struct up_catalogue *catalogue, const char *record_id,
                           struct up_failure *failure);
/* A statement with a row where the table of a kind says the same as a record, and what stands in
   it. */
sqlite3_stmt *catalogue_prepare_typed(struct up_catalogue *catalogue,
                                      const struct catalogue_table *table,
                                      struct up_failure *failure);
int catalogue_bind_typed(sqlite3_stmt *statement, const struct catalogue_table *table,
                         const struct up_record *record, long long number);
void catalogue_forget_types(struct up_catalogue *catalogue);
bool catalogue_settle(struct up_catalogue *catalogue, struct up_failure *failure);
/* As up_catalogue_focus, on the items whose ids an SQL statement gives, without those that look
   like them. */
bool catalogue_focus_on(struct up_catalogue *catalogue, const char *ids, const char *value,
                        struct up_failure *failure);
/* SQL for the numbers of the records of a kind that are in focus, the caller's; NULL: all are. */
char *catalogue_in_focus(const struct up_catalogue *catalogue, const char *kind);
/* What a person looks for in an item, folded; the caller's. */
char *catalogue_item_words(const json_t *content);

/* ---- typed_check.c ---- */

/* How many rows of those tables are missing, too many, or not what the records say. */
bool catalogue_compare_tables(struct up_catalogue *catalogue, long long *unlike,
                              struct up_failure *failure);

/* The tables are those of catalogue->version, no trigger or index beside them. */
bool catalogue_check_schema(struct up_catalogue *catalogue, struct up_failure *failure);

/* ---- origin.c ---- */

/* Which versions of a thing count, as SQL about the record r. One that is held here (made here,
   borne out by a known mass, or what was on the hook when something was first measured here) counts
   before all others, and none of those replaces it; one of elsewhere that is dated ahead of the
   clock (by more than a day: `latest`) counts after the others; one that was set aside never does.
   Records are the same wherever catalogues are put together, and in whatever order; what is shown
   of them hangs on the marks. */
#define CATALOGUE_HAS_MARK(id, marks)                                                              \
    "EXISTS (SELECT 1 FROM local_mark WHERE record_id = " id " AND mark IN (" marks "))"
#define CATALOGUE_IS_OWN(id)   CATALOGUE_HAS_MARK(id, "'made', 'kept'")
#define CATALOGUE_IS_HELD(id)  CATALOGUE_HAS_MARK(id, "'made', 'kept', 'adopted', 'used'")
#define CATALOGUE_IS_ASIDE(id) CATALOGUE_HAS_MARK(id, "'aside', 'redacted'")
#define CATALOGUE_IS_GONE(id)  CATALOGUE_HAS_MARK(id, "'redacted'")
/* Left out for good (revoked, recalled), or until somebody accepts it: see trust.c. */
#define CATALOGUE_LEFT_OUT(r, how_not)                                                             \
    "EXISTS (SELECT 1 FROM left_out WHERE record_id = " r ".id AND left_out.sha256 = " r           \
    ".sha256" how_not ")"
#define CATALOGUE_IS_OUT(r)    CATALOGUE_LEFT_OUT(r, " AND how <> 'waiting'")
#define CATALOGUE_IS_TAKEN(id) CATALOGUE_HAS_MARK(id, "'made', 'kept', 'adopted', 'used', 'chosen'")
#define CATALOGUE_IS_OUT_OR_WAITS(r)                                                               \
    CATALOGUE_LEFT_OUT(                                                                            \
        r, " AND (how <> 'waiting' OR NOT " CATALOGUE_IS_TAKEN("left_out.record_id") ")")
#define CATALOGUE_OF_R_BY_N "+n.kind = r.kind AND +n.subject = r.subject"
#define CATALOGUE_MAY_REPLACE(latest)                                                              \
    "(" CATALOGUE_IS_HELD("n.id") " OR (NOT " CATALOGUE_IS_HELD(                                   \
        "r.id") " AND (n.made_utc <= " latest " OR r.made_utc > " latest ")))"
#define CATALOGUE_COUNTS_UNLESS(latest, is_out)                                                    \
    "NOT " CATALOGUE_IS_ASIDE("r.id") " AND NOT " is_out(                                          \
        "r") " AND NOT EXISTS (SELECT 1 FROM replaces JOIN record AS n ON n.id = new_id"           \
             " WHERE old_id = r.id AND " CATALOGUE_OF_R_BY_N " AND NOT " CATALOGUE_IS_ASIDE(       \
                 "n.id") " AND NOT " is_out("n") " AND " CATALOGUE_MAY_REPLACE(latest) ")"
#define CATALOGUE_COUNTS(latest) CATALOGUE_COUNTS_UNLESS(latest, CATALOGUE_IS_OUT_OR_WAITS)
/* As if what waits for a person's word had it. */
#define CATALOGUE_COUNTS_OR_WAITS(latest) CATALOGUE_COUNTS_UNLESS(latest, CATALOGUE_IS_OUT)
#define CATALOGUE_RANK(latest)                                                                     \
    "(CASE WHEN " CATALOGUE_IS_HELD("r.id") " THEN '2' WHEN r.made_utc <= " latest                 \
                                            " THEN '1' ELSE '0' END || r.made_utc || ' ' || r.id)"
/* `latest` for who asks by SQL alone */
#define CATALOGUE_NOW_SQL "strftime('%Y-%m-%dT%H:%M:%fZ', 'now', '+1 day')"

/* Notes that this folder made the record that was just stored. Within a transaction. */
bool catalogue_mark_made(struct up_catalogue *catalogue, const struct up_record *record,
                         struct up_failure *failure);
/* Holds the versions of the item and the body that a record of here is about: what counted when
   they were first measured counts on. Within a transaction. */
bool catalogue_hold_measured(struct up_catalogue *catalogue, const struct up_record *record,
                             struct up_failure *failure);
/* Whether a record was made here, or was here before there were marks. */
bool catalogue_is_own(struct up_catalogue *catalogue, const char *record_id, bool *own,
                      struct up_failure *failure);
/* Whether every version of a run was made in this folder, on this machine. */
bool catalogue_is_of_place(struct up_catalogue *catalogue, const char *subject, bool *is,
                           struct up_failure *failure);
/* Text for `latest`. */
void catalogue_latest(char utc[UP_TIME_SIZE]);
/* The folder on this machine: a copy of it, or the folder on another machine, is another place.
   Empty where it cannot be determined. */
void catalogue_place(struct up_catalogue *catalogue, char place[UP_SHA256_SIZE]);

/* ---- trust.c ---- */

/* The members of these kinds beyond their types: NULL, or what is wrong. */
const char *catalogue_fault_of_key(const json_t *content);
const char *catalogue_fault_of_revocation(const json_t *content);
const char *catalogue_fault_of_recall(const json_t *content);

/* What a transaction changes is noted, and settled before it ends: which records are left out, of
   what writers and things it touched. `undecided`: settles contested ids too, and counts those that
   became so; NULL: only where trust changed. */
bool catalogue_note_touched(struct up_catalogue *catalogue, const struct up_record *record,
                            const char *writer, struct up_failure *failure);
/* The things of all contents with an id. */
bool catalogue_touch_id(struct up_catalogue *catalogue, const char *id, struct up_failure *failure);
bool catalogue_settle_trust(struct up_catalogue *catalogue, unsigned long *undecided,
                            struct up_failure *failure);
void catalogue_forget_touched(struct up_catalogue *catalogue);
/* Everything, as after an upgrade; or in memory, where the file can only be read. */
bool catalogue_touch_all(struct up_catalogue *catalogue, struct up_failure *failure);
bool catalogue_settle_for_now(struct up_catalogue *catalogue, struct up_failure *failure);

/* Trust in a writer was given or taken, or somebody said something of its key. Called in the
   transaction of each change; what is derived of it is made anew when that ends. */
bool catalogue_trust_changed(struct up_catalogue *catalogue, const char *writer,
                             struct up_failure *failure);

/* ---- contested.c ---- */

#define CATALOGUE_CONTESTED_REASON "another catalogue has other content under this id"

/* Copy: it is here under another id, too; refused: the id is not its own, or no document could hold
   it, and it is left out, the others come; contested: there is other content under its id. */
enum catalogue_admitted {
    ADMITTED_KNOWN,
    ADMITTED_FRESH,
    ADMITTED_COPY,
    ADMITTED_REFUSED,
    ADMITTED_CONTESTED,
};

/* Keeps other content under the id of a record. Within a transaction, which `settle` ends: of ids
   that nothing here speaks for no content counts then; `fresh`: how many counted before. One pass,
   however many there are. */
bool catalogue_settle_contested(struct up_catalogue *catalogue, unsigned long *fresh,
                                struct up_failure *failure);
/* Puts the content whose hash begins so among the records, where a person takes it. */
bool catalogue_take_content(struct up_catalogue *catalogue, const char *id, const char *beginning,
                            struct up_failure *failure);
bool catalogue_contest(struct up_catalogue *catalogue, const struct up_record *record,
                       const json_t *replaces, enum catalogue_admitted *how,
                       struct up_failure *failure);
/* `sound`: it is what was stored. */
bool catalogue_each_contested(struct up_catalogue *catalogue,
                              bool (*visit)(const struct up_record *record, json_t *replaces,
                                            bool sound, void *context),
                              void *context, struct up_failure *failure);

/* ---- private.c ---- */

/* SHA-256 over the salt's digits and the text. */
bool catalogue_commit_to(const char *salt, const char *text, char commitment[UP_SHA256_SIZE]);
bool catalogue_new_salt(char salt[UP_SALT_SIZE], struct up_failure *failure);
/* Within a transaction; `member` of drop is a pattern of LIKE. */
bool catalogue_keep_private(struct up_catalogue *catalogue, const char *thing, const char *member,
                            const char *salt, const char *text, struct up_failure *failure);
bool catalogue_drop_private(struct up_catalogue *catalogue, const char *thing, const char *member,
                            struct up_failure *failure);
/* The log beside the file is emptied: what was overwritten in the file is not left there. It waits
   for readers; UP_STATUS_UNABLE where one does not end. */
bool catalogue_scrub_log(struct up_catalogue *catalogue, struct up_failure *failure);

/* ---- calibration.c ---- */

/* Whether the folder still has the mark by which the bench was last weighed here; and notes that of
   the calibration which is used now. */
bool catalogue_last_use_agrees(struct up_catalogue *catalogue, const char *bench, bool *agrees,
                               struct up_failure *failure);
/* The path, the caller's, where something else stands than such a note; NULL: there is no such. */
char *catalogue_witness_obstacle(struct up_catalogue *catalogue, const char *bench);
bool catalogue_last_use_note(struct up_catalogue *catalogue, const char *bench,
                             const char *calibration_id, struct up_failure *failure);

/* ---- signed.c ---- */

/* The columns of a content and all else, as canonical JSON (RFC 8785) that the caller frees; detail
   NULL: there is none. False where it cannot be written so. */
bool catalogue_is_fact(const char *kind, const char *key);
bool catalogue_split(const char *kind, json_t *content, char **facts, char **detail);
/* One of the two, as up_json_read reads it; NULL where it is none, or larger than any that is
   stored or taken in. */
json_t *catalogue_read_part(const char *text);
/* The content again; NULL where the facts are no JSON. */
json_t *catalogue_join(const char *facts, const char *detail);

/* Whether a record's envelope, facts and detail (which may be missing) fit each other, its hash and
   what stands beside them; `fault`: what does not. The signature is not looked at. */
bool catalogue_is_enveloped(const struct up_record *record, const json_t *replaces,
                            char fault[UP_FAULT_SIZE]);

/* Whether in the place of the facts stands that they were taken away (keep/redact.c). That they may
   be missing, a mark says. */
#define CATALOGUE_GONE "{}"
bool catalogue_facts_are_gone(const struct up_record *record);

/* A statement that finds the envelope of a record; `read` adds it and the detail to a record that
   was read, until the statement is reset; without `whole` the detail is left out. */
sqlite3_stmt *catalogue_prepare_signed(struct up_catalogue *catalogue, struct up_failure *failure);
bool catalogue_read_signed(struct up_catalogue *catalogue, sqlite3_stmt *statement,
                           struct up_record *record, const char *body, bool whole,
                           struct up_failure *failure);
bool catalogue_insert_signed(struct up_catalogue *catalogue, const struct up_record *record,
                             struct up_failure *failure);
/* Of a record that is here and was verified: detail that was missing until now; and of two
   signatures the smaller, so that whichever came first, all catalogues give the same. */
bool catalogue_add_known(struct up_catalogue *catalogue, const struct up_record *record,
                         struct up_failure *failure);

/* Signs a record whose id, kind, subject, bench, time and content are set, and gives it its hash.
   Within a transaction; `note_signed` after it. */
struct catalogue_parts {
    char *envelope, *facts, *detail;
    char signature[UP_SIGNATURE_SIZE];
};
bool catalogue_sign(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                    struct catalogue_parts *parts, struct up_failure *failure);
void catalogue_free_parts(struct up_record *record, struct catalogue_parts *parts);
void catalogue_note_signed(struct up_catalogue *catalogue);

/* ---- import.c ---- */

/* Whether a name is one that an export puts beside the content of records of a kind. */
bool catalogue_is_of_export(const struct catalogue_table *table, const char *key);
/* Opens the key of this account for this folder. Within a transaction. */
bool catalogue_ready_writer(struct up_catalogue *catalogue, struct up_failure *failure);
/* Another key takes its place. */
bool catalogue_renew_writer(struct up_catalogue *catalogue, struct up_failure *failure);

/* ---- record.c ---- */

/* Reports that a record's content is none that can be stored; returns false. */
bool catalogue_fail_body(const struct up_record *record, struct up_failure *failure);

/* Stores a record whose kind, subject (empty: its own id), bench and content are set, and fills in
   the rest. `replaces`: array of record ids, or NULL. */
bool catalogue_put(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                   struct up_failure *failure);

/* Hashes over the canonical JSON of all a record says; `replaces` may be NULL. False where it holds
   text that is not UTF-8. */
bool catalogue_hash(struct up_record *record, json_t *replaces);
/* Whether the record has this hash with the body as it is stored, byte for byte: most have, and
   need not be written anew to be checked. */
bool catalogue_hash_fits_as_stored(const struct up_record *record, const char *body,
                                   json_t *replaces);
void catalogue_hash_text(const char *text, char hex[UP_SHA256_SIZE]);

/* Stores a record that is complete, its id, time and hash included, as it is; one that is there
   already is left alone. Within a transaction. */
bool catalogue_insert(struct up_catalogue *catalogue, const struct up_record *record,
                      const json_t *replaces, struct up_failure *failure);

/* As `each`, of the records whose numbers an SQL statement gives, all of them newest; `value` (may
   be NULL) is its ?2. Numbers NULL: all. */
bool catalogue_each_in(struct up_catalogue *catalogue, const char *kind, const char *numbers,
                       const char *value,
                       bool (*visit)(const struct up_record *record, void *context), void *context,
                       struct up_failure *failure);

/* As up_catalogue_each, with the detail of a signed record only where it is wanted, told by its
   facts: reading it takes most of the time. What is not read is not compared with its hash. */
typedef bool catalogue_wants_detail(const struct up_record *record, void *context);
bool catalogue_each_facts(struct up_catalogue *catalogue, const char *kind,
                          catalogue_wants_detail *wants_detail,
                          bool (*visit)(const struct up_record *record, void *context),
                          void *context, struct up_failure *failure);

/* All records of a kind that are not the current version of their thing, by id; `live`: whether no
   other replaces it. */
bool catalogue_each_other(struct up_catalogue *catalogue, const char *kind,
                          bool (*visit)(const struct up_record *record, bool live, void *context),
                          void *context, struct up_failure *failure);

/* Those of kinds that a newer program made; `visit` as for `each`. */
bool catalogue_each_unknown(struct up_catalogue *catalogue,
                            bool (*visit)(const struct up_record *record, void *context),
                            void *context, struct up_failure *failure);

/* Ids that a record replaces, ascending; NULL where it fails. */
json_t *catalogue_replaced_by(struct up_catalogue *catalogue, const char *id,
                              struct up_failure *failure);

/* Hashes of the records with an id: one, where nothing is forged. */
json_t *catalogue_hashes_of(struct up_catalogue *catalogue, const char *id,
                            struct up_failure *failure);

/* Every record, as it was stored; `damaged`: how many are not what was stored, and not visited. */
bool catalogue_each_record(struct up_catalogue *catalogue,
                           bool (*visit)(const struct up_record *record, void *context),
                           void *context, unsigned *damaged, struct up_failure *failure);

void catalogue_now(char utc[UP_TIME_SIZE]);

/* SQL that changes rows, with texts bound to its parameters. */
bool catalogue_change(struct up_catalogue *catalogue, const char *sql, const char *const *values,
                      int count, struct up_failure *failure);

/* ---- record_read.c ---- */

/* A statement with texts bound, which outlive it; NULL where it fails. `finish` ends one whose last
   step gave `code`. A column that cannot be fetched for want of memory ends the program: it would
   look like one that holds nothing. */
sqlite3_stmt *catalogue_prepare(struct up_catalogue *catalogue, const char *sql,
                                const char *const *values, int count, struct up_failure *failure);
/* The same, kept prepared for the next time: reset by the caller, ended when the catalogue is
   closed. */
sqlite3_stmt *catalogue_ready(struct up_catalogue *catalogue, const char *sql,
                              const char *const *values, int count, struct up_failure *failure);
/* Resets one whose last step gave `code`. */
bool catalogue_done(struct up_catalogue *catalogue, sqlite3_stmt *statement, int code,
                    struct up_failure *failure);
bool catalogue_finish(struct up_catalogue *catalogue, sqlite3_stmt *statement, int code,
                      struct up_failure *failure);
const char *catalogue_text_of(sqlite3_stmt *statement, int column);
/* NULL where it is none, or larger than any that is stored or taken in. */
enum { CATALOGUE_CONTENT_BYTES_MAX = 1 << 20 };
json_t *catalogue_json_of(sqlite3_stmt *statement, int column);

/* The columns id, sha256, kind, subject, bench, made_utc and body; the content is the caller's. */
void catalogue_read_row(sqlite3_stmt *statement, struct up_record *record);
/* Whether a record is what was stored: a digit that changed on the disk is found by the hash.
   `body`: as it is stored, or NULL. */
bool catalogue_is_sound(const struct up_record *record, const char *body, json_t *replaces);

/* Whether the signature, where there is one, is that of its writer. */
bool catalogue_is_signed_so(const struct up_record *record);

/* Every record that is not what was stored; `aside`: a person left it out. */
bool catalogue_each_damaged(struct up_catalogue *catalogue,
                            bool (*visit)(const struct up_record *record, bool aside,
                                          void *context),
                            void *context, struct up_failure *failure);

/* One number from one row; `text` is bound where it is not NULL. */
bool catalogue_ask(struct up_catalogue *catalogue, const char *sql, const char *text,
                   long long *number, struct up_failure *failure);

/* ---- subject.c ---- */

/* Its name in messages: "reference body", "reference bodies", "a reference body"; the command that
   adds and lists them. */
struct catalogue_noun {
    const char *kind; /* of the records */
    const char *one, *several, *with_article;
    const char *command;
};

/* Makes a name harmless; false where it is too long or, though needed, empty. */
bool catalogue_clean_name(char text[UP_NAME_SIZE], const struct catalogue_noun *noun,
                          const char *option, bool needed, struct up_failure *failure);
/* A new id where it is empty; false for what is none. */
bool catalogue_settle_id(char id[UP_ID_SIZE], const struct catalogue_noun *noun,
                         struct up_failure *failure);
/* A new version that replaces all live ones. Takes the content. */
bool catalogue_put_version(struct up_catalogue *catalogue, const struct catalogue_noun *noun,
                           const char id[UP_ID_SIZE], json_t *content, struct up_failure *failure);

struct catalogue_found {
    char id[UP_ID_SIZE];
    bool elsewhere;
    json_t *content; /* the caller's */
};

/* By id, its unique beginning, or name: see up_item_find. */
bool catalogue_find(struct up_catalogue *catalogue, const struct catalogue_noun *noun,
                    const char *name_or_id, struct catalogue_found *found,
                    struct up_failure *failure);
/* Reports that its content cannot be read; returns false. */
bool catalogue_fail_found(const struct catalogue_found *found, struct up_failure *failure);

/* ---- admit.c ---- */

/* What came from another catalogue is checked as hostile: form, members, hash. Within a
   transaction. `where` stands before what is wrong; `sound`: it is what was stored, as
   catalogue_is_sound says. Where it is false, `how` is ADMITTED_REFUSED for what is wrong with the
   bytes of the record, whatever is here. */
bool catalogue_admit(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                     const char *where, bool sound, enum catalogue_admitted *how,
                     struct up_failure *failure);

/* More levels than a document can hold around it. */
bool catalogue_is_too_deep(json_t *content);

/* kind.c: tolerances that a kind may have, and the one subject that a name has. */
bool catalogue_kind_is_sound(const json_t *content);
bool catalogue_kind_is_subject(const json_t *content, const char *subject);

/* The members around a content have the form that import demands; records that are read must have
   it too: a file may come from somebody else, and ids and times go into scripts and commands. */
bool catalogue_has_form(const struct up_record *record);
bool catalogue_is_time(const char *text);

/* A record that no other catalogue would import is not stored either. */
bool catalogue_check_content(const char *kind, const json_t *content, struct up_failure *failure);

/* ---- describe.c ---- */

/* The description of the files for other programs: the CSV metadata (W3C) and the JSON Schema of
   the document; the caller's. */
json_t *catalogue_csv_metadata(void);
json_t *catalogue_json_schema(void);

/* Members of JSON contents; the target is left alone and false returned where the member is missing
   or of another type. */
bool catalogue_read_number(const json_t *content, const char *key, double *value);
bool catalogue_read_text(const json_t *content, const char *key, char *text, size_t size);
