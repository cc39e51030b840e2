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

/* How long a lock held by another program is waited for; tests shorten it. */
extern int catalogue_patience_ms;

/* RFC 3339 in UTC with milliseconds: the one place that reads the wall clock. */
void catalogue_now(char utc[UP_TIME_SIZE]);

/* Members of JSON bodies; the target is left alone and false returned where the member is missing
   or of another type. NaN and infinities are written as null. */
json_t *number_or_null(double value);
bool take_number(const json_t *body, const char *key, double *value);
bool take_text(const json_t *body, const char *key, char *text, size_t size);

#endif
