/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Members of a kit file, read by its own schema (kit-schema.json, built into the program): what may
   stand where, between which bounds, what stands for what is missing, and what it is. */
#ifndef UPTHRUST_KIT_FIELDS_H
#define UPTHRUST_KIT_FIELDS_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "kit/kit.h"
#include "upthrust/failure.h"

struct place {
    const json_t *json;
    const json_t *schema, *root; /* of this value, and all of it */
    char path[160];              /* "parts[2]" */
    struct up_failure *failure;
};

bool wrong_at(const struct place *place, const char *key, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
struct place inside(const struct place *place, const char *key);
struct place element(const struct place *place, const char *key, size_t i);
/* Whether all of it is as the schema says. Then these give members, or what stands for them (NaN:
   it is not known). */
bool fits(const struct place *place);
bool has(const struct place *place, const char *key); /* there, be it null */
double number_at(const struct place *place, const char *key);
const char *text_at(const struct place *place, const char *key, const char *otherwise);
bool lists(const json_t *list, const char *word); /* of texts */
bool truth_at(const struct place *place, const char *key);
/* With u_KEY, or the share of it that the schema has. */
struct up_bounded bounded_at(const struct place *place, const char *key, double scale);

/* A number within two bounds, or null, where no schema says so. */
bool number_between(const struct place *place, const char *key, double low, double high,
                    double *value);

/* What a "$ref" within the root leads to, else the schema itself; and of a key of an object. */
const json_t *schema_meant(const json_t *root, const json_t *schema);
const json_t *schema_of_key(const json_t *root, const json_t *object, const char *key);
double bound_of(const json_t *schema, const char *key, double otherwise);
bool schema_requires(const json_t *object, const char *key);

#endif
