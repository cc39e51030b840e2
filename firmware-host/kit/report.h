/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a kit file answers, for people and programs. */
#ifndef UPTHRUST_KIT_REPORT_H
#define UPTHRUST_KIT_REPORT_H

#include <jansson.h>
#include <stdio.h>

#include "text/style.h"
#include "upthrust/catalogue.h"
#include "upthrust/failure.h"

enum { UP_KIT_MOVES_MAX = 32 };

/* The whole of it as JSON, for the caller to own; NULL where it fails. `catalogue` may be NULL
   where no part of the kit is an item of it. */
json_t *up_kit_report(const char *path, struct up_catalogue *catalogue, struct up_failure *failure);
/* The same in words and in the units of the style, or what of it goes on a page for the diver. */
void up_kit_report_print(const json_t *document, bool page, const struct up_style *style,
                         FILE *stream);
/* What its numbers are, in lines for the foot of a picture. */
void up_kit_report_standing(const json_t *document, FILE *stream);
/* Whether a list of parts, as a kit file has it, can be read so far. */
bool up_kit_parts_fit(json_t *parts, struct up_catalogue *catalogue, struct up_failure *failure);
/* The JSON Schema (2020-12) of a kit file; the caller's. */
json_t *up_kit_schema(void);

#endif
