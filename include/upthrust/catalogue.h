/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The gear catalogue: a directory whose catalogue.sqlite is the truth.
 *
 * Everything is a record that is never changed: a version of a thing (its subject), with an id and
 * SHA-256 of its own, naming the versions it replaces. So a crash loses nothing acknowledged and
 * catalogues can be merged in any order. Of several live versions the newest (time, then id) is
 * current.
 *
 * Whatever a bench stores is counted besides (bench_sequence): where its clock ran back, that is
 * the order. Bodies are JSON objects with units in their keys. One writer at a time (BEGIN
 * IMMEDIATE), readers beside it; a lock held by another program is waited for, up to ten seconds.
 * On a network drive a catalogue is refused (its log needs memory that all share).
 *
 * Other programs read the SQL views item, model, calibration, rig, run, trial, plateau, result,
 * decision, reference, reference_check, gear_kind, writer, held, vouching, rotation, revocation and
 * recall (current versions), live (all versions that none replaces) and record itself. A plateau is
 * part of its trial's record: without the tares around it it says nothing, and so a trial costs one
 * write to the disk.
 */
#ifndef UPTHRUST_CATALOGUE_H
#define UPTHRUST_CATALOGUE_H

#include <jansson.h>
#include <stdbool.h>

#include "upthrust/calibration.h"
#include "upthrust/failure.h"
#include "upthrust/item.h"
#include "upthrust/reference.h"
#include "upthrust/result.h"

struct up_catalogue;

enum up_catalogue_mode {
    UP_CATALOGUE_READ,   /* must exist; works on a read-only directory */
    UP_CATALOGUE_WRITE,  /* must exist */
    UP_CATALOGUE_CREATE, /* made where it does not exist, its directories too */
};

/* UP_STATUS_WRONG_INPUT: not a catalogue, or of a newer version. UP_STATUS_UNABLE: not writable,
   locked, or not there. The caller closes what it was given; closing NULL is allowed. */
bool up_catalogue_open(const char *directory, enum up_catalogue_mode mode,
                       struct up_catalogue **catalogue, struct up_failure *failure);
void up_catalogue_close(struct up_catalogue *catalogue);
const char *up_catalogue_directory(const struct up_catalogue *catalogue);

struct up_record {
    char id[UP_ID_SIZE];
    char sha256[UP_SHA256_SIZE];
    char kind[16];               /* item, calibration, run, trial, ...: the names of the views */
    char subject[UP_ID_SIZE];    /* the thing this is a version of */
    char bench[UP_NAME_SIZE];    /* the rig's id; empty where none took part */
    char made_utc[UP_TIME_SIZE]; /* RFC 3339, milliseconds, Z */
    bool elsewhere;              /* it came by import or merge */
    json_t *content;             /* lent for the duration of the visit */
    /* As its writer signed it, lent too: the envelope's bytes, those of the facts (the columns) and
       of the detail (all else; NULL: none, or it was taken away), the signature (Ed25519 over the
       hash, hex), the writer's key (hex) and the record's number among the writer's, from 1. The
       signature was verified when the record came here, and is not each time that it is read. NULL,
       "" and 0 for a record that is not signed. */
    const char *envelope, *facts, *detail, *signature;
    char writer[UP_SHA256_SIZE];
    long long sequence;
};

/* A member of a content (or of any JSON object; NULL has none): "" and NaN where it is missing,
   null or of another type. The text lives as long as the content. */
const char *up_record_text(const json_t *content, const char *key);
double up_record_number(const json_t *content, const char *key);

/* The current version of every thing of one kind, oldest first (time, then id; within a bench whose
   clock ran back, as it counted). A version that was made here counts before those of elsewhere,
   which count only where there is none. The visitor returns false to stop. Where a record is not
   what was stored (its hash does not fit), the others are visited, then UP_STATUS_WRONG_INPUT names
   it. */
bool up_catalogue_each(struct up_catalogue *catalogue, const char *kind,
                       bool (*visit)(const struct up_record *record, void *context), void *context,
                       struct up_failure *failure);

/* The live versions of one thing, the newest (which is current) first: more than one where two
   catalogues changed it and were merged. Last come those that wait for a person's word. */
bool up_catalogue_each_live(struct up_catalogue *catalogue, const char *kind, const char *subject,
                            bool (*visit)(const struct up_record *record, void *context),
                            void *context, struct up_failure *failure);

/* Items. `add` gives item->id where it is empty. `find` takes an id, the unique beginning of one
   (four characters at least), or a name; it names the candidates where there are several and the
   nearest name where there is none (UP_STATUS_WRONG_INPUT). */
bool up_item_add(struct up_catalogue *catalogue, struct up_item *item, struct up_failure *failure);
bool up_item_find(struct up_catalogue *catalogue, const char *name_or_id, struct up_item *item,
                  struct up_failure *failure);
/* Another item whose name looks the same (Unicode UTS 39): *other, with an empty id where there is
   none. */
bool up_item_look_alike(struct up_catalogue *catalogue, const struct up_item *item,
                        struct up_item *other, struct up_failure *failure);
/* The newest version of an item that was made elsewhere and waits beside those of here becomes the
   current one: *item. UP_STATUS_WRONG_INPUT where none waits. One that says the same as the current
   version does not wait. */
bool up_item_accept(struct up_catalogue *catalogue, const char item_id[UP_ID_SIZE],
                    struct up_item *item, struct up_failure *failure);
/* How many items have one that waits; of one item, or NULL. */
bool up_items_waiting(struct up_catalogue *catalogue, const char *item_id, unsigned long *items,
                      struct up_failure *failure);

/* Reference bodies, found as items are. Refused: a mass or volume that is missing or not above
   zero, one claimed to be known without uncertainty, a density that no body has. Degrees of freedom
   are not kept: what a certificate says is taken as known. */
bool up_reference_add(struct up_catalogue *catalogue, struct up_reference *reference,
                      struct up_failure *failure);
bool up_reference_find(struct up_catalogue *catalogue, const char *name_or_id,
                       struct up_reference *reference, struct up_failure *failure);

struct up_past_check {
    struct up_reference_check check;
    char run_id[UP_ID_SIZE], bench[UP_NAME_SIZE], made_utc[UP_TIME_SIZE];
    /* Whether it is one of those that make the limits: it was inside, and the body has the same
       mass and volume still. */
    bool in_limits;
    bool elsewhere; /* it came by import or merge, and makes no limits here */
};

/* The checks of one body in order, on one bench or, NULL, on all; the caller frees *past. */
bool up_reference_checks(struct up_catalogue *catalogue, const char *reference_id,
                         const char *bench, struct up_past_check **past, size_t *count,
                         struct up_failure *failure);
/* The chart of those that make the limits. */
bool up_reference_chart(struct up_catalogue *catalogue, const char *reference_id, const char *bench,
                        struct up_chart *chart, struct up_failure *failure);

/* The newest calibration of a bench; UP_STATUS_WRONG_INPUT where it has none. */
bool up_calibration_latest(struct up_catalogue *catalogue, const char *bench,
                           struct up_calibration *calibration, struct up_failure *failure);

/* Whether a calibration was made in this folder, on this machine, or adopted there. One that came
   by import or merge, with a copy of the folder or a backup, or from before this was noted, may be
   of another cell: it is adopted after a known mass has borne it out. `to_use` gives the newest
   that is trusted; UP_STATUS_WRONG_INPUT where there is none. */
bool up_calibration_to_use(struct up_catalogue *catalogue, const char *bench,
                           struct up_calibration *calibration, struct up_failure *failure);
/* For viewing only: the newest that is trusted, else the newest. */
bool up_calibration_to_show(struct up_catalogue *catalogue, const char *bench,
                            struct up_calibration *calibration, bool *trusted,
                            struct up_failure *failure);
bool up_calibration_is_trusted(struct up_catalogue *catalogue, const char *calibration_id,
                               bool *trusted, struct up_failure *failure);
/* What the bench's calibrations that are trusted here, of the rig with this hash, have shown. */
bool up_calibration_past(struct up_catalogue *catalogue, const char *bench, const char *rig_sha256,
                         struct up_calibration_history *history, struct up_failure *failure);
bool up_calibration_adopt(struct up_catalogue *catalogue, const char *calibration_id,
                          struct up_failure *failure);

/* A record that no list shows any more, by its id, with a reason; nothing is ever removed. It is
   taken back by its id; where several contents have that, by "ID/HASH", the beginning of the hash
   of one of them, as `check` names them. */
bool up_catalogue_set_aside(struct up_catalogue *catalogue, const char *record_id,
                            const char *reason, struct up_failure *failure);
bool up_catalogue_restore(struct up_catalogue *catalogue, const char *record_id,
                          struct up_failure *failure);

enum up_record_doubt {
    UP_RECORD_DAMAGED,        /* its hash does not fit */
    UP_RECORD_SET_ASIDE,      /* by a person, with the reason */
    UP_RECORD_AHEAD_OF_CLOCK, /* of elsewhere or here, dated more than a day after now */
    UP_RECORD_CONTESTED,      /* there is other content under its id, with the hash in `reason` */
    UP_RECORD_OF_MANY,        /* one of more versions of a thing than anybody makes */
    UP_RECORD_FORKED,         /* its writer signed another one under the same number */
    UP_RECORD_AFTER_GAP,      /* the one that its writer signed before it is missing */
    UP_RECORD_REDACTED,       /* its facts were taken away here, with the reason */
    UP_RECORD_UNDETAILED,     /* so was its detail */
    UP_RECORD_UNSIGNED,       /* made here unsigned, when others were signed already */
    UP_TABLES_UNLIKE,         /* no record: rows that quick answers come from are not what the
                                 records say; `reason` counts them */
    UP_RECORD_REVOKED,        /* its writer's key was revoked, and it is not among the good ones */
    UP_RECORD_RECALLED,       /* by its writer, its successor or an editor */
    UP_RECORD_WAITING,        /* its writer has no say about the thing, and nobody accepted it */
};
struct up_doubtful_record {
    enum up_record_doubt why;
    char id[UP_ID_SIZE];
    char kind[16];
    char made_utc[UP_TIME_SIZE];
    char reason[UP_NAME_SIZE];
    bool held; /* contested: the record is one of here, or was measured or adopted here, and counts
                */
};
/* Reads every record and visits those that are damaged, then those set aside, then those dated
   ahead of the clock, then contents beside those of the records, then what does not count here for
   who wrote it (of what waits the newest version of each thing), then the newest of each thing that
   has too many versions, then where the chain of a writer forks or lacks a link, then of what was
   taken away, then what an older program wrote, then, once, whether the tables made of the records
   fit them. Verifies every signature. */
bool up_catalogue_check(struct up_catalogue *catalogue,
                        bool (*visit)(const struct up_doubtful_record *doubtful, void *context),
                        void *context, struct up_failure *failure);

/* Of each result that was judged again the newest decision, by the result's id: an object for the
   caller to own; NULL where it fails. `apply` puts one over what the result itself had said; NULL
   leaves that. */
json_t *up_decisions_later(struct up_catalogue *catalogue, struct up_failure *failure);
void up_decision_apply(const json_t *decision, struct up_result *result);

/* The content of a record as a struct. */
bool up_item_from_json(const json_t *content, struct up_item *item);
bool up_reference_from_json(const json_t *content, struct up_reference *reference);
bool up_calibration_from_json(const json_t *content, struct up_calibration *calibration);
/* What a record does not hold, since it is older, is NaN, zero or empty; has_model says whether the
   result can be recomputed. */
void up_result_from_json(const json_t *content, struct up_result *result);

/* Exchange: a CSV file for each kind with csv-metadata.json (CSV on the Web), or catalogue.json
   with catalogue.schema.json (JSON Schema 2020-12), each written whole into a directory that is
   made where it does not exist, and left alone where it would hold the same again. CSV has the
   current versions; the JSON document all, which is what import reads. */
bool up_export_csv(struct up_catalogue *catalogue, const char *directory,
                   struct up_failure *failure);
bool up_export_json(struct up_catalogue *catalogue, const char *directory,
                    struct up_failure *failure);

struct up_intake {
    unsigned long fresh, known; /* records that came, and that were here already */
    unsigned long contested;    /* other content under the id of a record of here: kept beside it */
    unsigned long undecided;    /* ids of which therefore no content counts any more */
    unsigned long refused;      /* measurements under an id not their own, what is nested too deep;
                                   merge: and what is damaged or forged */
    unsigned long copies;       /* versions that are here under another id, too: counted once */
    /* Of those that came: versions of things that were made here, among them of items, which can be
       accepted; results of items that were made here; and calibrations, which must be adopted
       before they are used. */
    unsigned long versions_of_ours, items_of_ours, results_of_ours, calibrations;
    char refused_why[512]; /* the first of those; raw, empty: none */
};

/* What another catalogue exported (a JSON document, or the directory it lies in), or another
   catalogue's directory. Of a document all comes or nothing; UP_STATUS_WRONG_INPUT names record and
   member. Of a directory each record that is good comes. Of
   two contents under one id that counts which was made here or of which something was measured
   here; else neither does until it is taken back. In whatever order catalogues are put together,
   the same comes out. With dry_run nothing is stored, only checked and counted. */
bool up_catalogue_import(struct up_catalogue *catalogue, const char *path, bool dry_run,
                         struct up_intake *intake, struct up_failure *failure);
bool up_catalogue_merge(struct up_catalogue *catalogue, const char *directory, bool dry_run,
                        struct up_intake *intake, struct up_failure *failure);

#endif
