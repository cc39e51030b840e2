/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What keeps a catalogue whole and private: parts of records taken away for good, backups, and what
 * is sound of a damaged file.
 */
#pragma once

#include "catalogue/private.h"

/* ---- redact.c ---- */

/* What is taken away of a record; its envelope stays, and goes on proving that it was there. */
struct up_redaction {
    bool facts, detail;
    const char *reason;
};

struct up_redacted {
    bool again; /* it was taken away before: only the bytes were left to be overwritten */
    unsigned long versions; /* other versions of the same thing that still have their facts */
};

/* By the record's id. Where its facts go it counts in no list any more, and what others have of it
   is not taken in again. Private texts of the record go in either case. The bytes are overwritten
   in the file and in its log. UP_STATUS_WRONG_INPUT: no such record, one that is not signed (its
   hash covers all of it), or one that says who signed. */
bool up_redact(struct up_catalogue *catalogue, const char *record_id,
               const struct up_redaction *redaction, struct up_redacted *redacted,
               struct up_failure *failure);

/* ---- backup.c ---- */

struct up_backup {
    unsigned long records, damaged; /* damaged: in the catalogue itself, so in the copy */
    unsigned long files, skipped;   /* of runs; skipped: neither files nor folders */
};

/* A copy of all that is in the catalogue at one moment, and of the folders of its runs, while
   others write. It is read again and compared; the folder `to`, which may not be there, appears
   whole or not at all. */
bool up_backup(struct up_catalogue *catalogue, const char *to, struct up_backup *backup,
               struct up_failure *failure);

/* ---- salvage.c ---- */

struct up_salvage {
    unsigned long records;    /* that are sound, and are in the new catalogue */
    unsigned long damaged;    /* that are not what was stored */
    unsigned long undetailed; /* sound, without their detail */
    unsigned long missing;    /* whose envelope is there, but nothing else */
    unsigned long files;      /* of runs */
    bool unreadable;          /* a part of the file cannot be read: what was there is not known */
};

/* One that is lost, by what can be read of it. */
typedef void up_lost_record(const char *id, const char *kind, const char *made_utc, const char *why,
                            void *context);

/* What is sound in the catalogue of `directory`, which is only read, in a new one, which appears
   whole or not at all. UP_STATUS_WRONG_INPUT where nothing of the file can be read. */
bool up_salvage(const char *directory, const char *to, struct up_salvage *salvage,
                up_lost_record *lost, void *context, struct up_failure *failure);
