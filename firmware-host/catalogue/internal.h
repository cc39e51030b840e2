/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of catalogue/ share and nobody else needs. */
#ifndef UPTHRUST_CATALOGUE_INTERNAL_H
#define UPTHRUST_CATALOGUE_INTERNAL_H

#include <sqlite3.h>

#include "upthrust/catalogue.h"

enum {
    APPLICATION_ID = 0x75705442, /* "upTB" */
    SCHEMA_VERSION = 1,
};

struct up_catalogue {
    sqlite3 *database;
    char *directory;
};

/* How long a lock held by another program is waited for; tests shorten it. */
extern int catalogue_patience_ms;

/* Added to the wall clock: tests let it step. */
extern long catalogue_clock_step_s;

/* ---- store.c ---- */

/* Says what an SQLite code means for the user; returns false. */
bool catalogue_fail(struct up_catalogue *catalogue, int code, struct up_failure *failure);
bool catalogue_run(struct up_catalogue *catalogue, const char *sql, struct up_failure *failure);

/* By the type that statfs tells. */
bool catalogue_is_network(unsigned long type);

/* ---- schema.c ---- */

/* What the outside sees of one kind: an SQL view, a CSV file and a list in the JSON document, all
   with the same names. Once released, columns are only added, at the end. */
struct catalogue_table {
    const char *kind;    /* of the records, and the view's name */
    const char *id_name; /* the first column: the thing's id */
    const char *file, *list;
    const char *const *columns; /* members of the bodies (and bench), ended by NULL */
};

enum { CATALOGUE_TABLES = 3 };
extern const struct catalogue_table catalogue_tables[CATALOGUE_TABLES];

/* SQL that makes tables, triggers and views; freed by the caller. */
char *catalogue_schema(void);

/* ---- record.c ---- */

/* Stores a record whose kind, subject (empty: its own id), bench and body are set, and fills in the
   rest. `replaces`: array of record ids, or NULL. */
bool catalogue_put(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                   struct up_failure *failure);

/* The ids of all live versions of a thing, ascending; NULL where it fails. */
json_t *catalogue_live_ids(struct up_catalogue *catalogue, const char *kind, const char *subject,
                           struct up_failure *failure);

/* Members of JSON bodies; the target is left alone and false returned where the member is missing
   or of another type. NaN and infinities are written as null, text is cleaned. */
json_t *number_or_null(double value);
json_t *clean_string(const char *text);
bool take_number(const json_t *body, const char *key, double *value);
bool take_text(const json_t *body, const char *key, char *text, size_t size);

#endif
