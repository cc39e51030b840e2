/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Members of a kit file, by tables: what may stand where, for reading, the schema and the questions
   of `upthrust kit new`. */
#ifndef UPTHRUST_KIT_FIELDS_H
#define UPTHRUST_KIT_FIELDS_H

#include <jansson.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#include "kit/kit.h"
#include "upthrust/failure.h"

enum key_type { KEY_NUMBER, KEY_TEXT, KEY_TRUTH, KEY_TEXTS, KEY_OBJECT, KEY_LIST, KEY_ANY };

struct key {
    const char *name; /* NULL ends a table */
    enum key_type type;
    double low, high; /* of a number; a text has at most `high` bytes, a list as many elements */
    double otherwise; /* NEVER: it must be there; NaN: it may stay unknown (null) */
    double u_rel;     /* of NAME; u_NAME may say how uncertain, else this share. NO_U: it may not */
    const char *words; /* a text or texts: one of these, blanks between; NULL: any */
    const char *why;
};

#define NEVER (-1.0)
#define NO_U  (-1.0)
#define NUMBER_KEY(name, low, high, otherwise, why)                                                \
    { name, KEY_NUMBER, low, high, otherwise, NO_U, NULL, why }
#define BOUNDED_KEY(name, low, high, otherwise, u_rel, why)                                        \
    { name, KEY_NUMBER, low, high, otherwise, u_rel, NULL, why }
#define TEXT_KEY(name, high, otherwise, words, why)                                                \
    { name, KEY_TEXT, 1, high, otherwise, NO_U, words, why }
#define OTHER_KEY(name, type, high, otherwise, words, why)                                         \
    { name, type, 0, high, otherwise, NO_U, words, why }
#define KEYS_END                                                                                   \
    { NULL, KEY_ANY, 0, 0, 0, NO_U, NULL, NULL }
#define UNKNOWN ((double)NAN)
/* What a result of the catalogue may be and yet count, if the file says so by name. */
#define KIT_ACCEPT "elsewhere undecided compressible unchecked outside simulated calculated"

struct place {
    const json_t *json;
    char path[160]; /* "parts[2]" */
    const struct key *keys;
    struct up_failure *failure;
};

bool wrong_at(const struct place *place, const char *key, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
struct place inside(const struct place *place, const char *key, const json_t *json);
struct place element(const struct place *place, const char *key, size_t i);

/* Whether an object has what the table says and nothing else; from then on these give its members,
   or what stands for them. */
bool read_keys(struct place *place, const struct key *keys);
bool has(const struct place *place, const char *key); /* there, be it null */
double number_at(const struct place *place, const char *key);
const char *text_at(const struct place *place, const char *key, const char *otherwise);
bool truth_at(const struct place *place, const char *key);
struct up_bounded bounded_at(const struct place *place, const char *key, double scale);

bool is_word_of(const char *words, const char *word);
/* The table as a part of a JSON Schema. */
json_t *keys_schema(const struct key *keys);

#endif
