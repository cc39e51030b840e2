/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Members of a kit file, and where they stand. */
#ifndef UPTHRUST_KIT_FIELDS_H
#define UPTHRUST_KIT_FIELDS_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "kit/kit.h"
#include "upthrust/failure.h"

struct place {
    const json_t *json;
    char path[160]; /* "parts[2]" */
    struct up_failure *failure;
};

/* A number that has no default. */
#define NEVER (-1.0)

bool wrong_at(const struct place *place, const char *key, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
struct place inside(const struct place *place, const char *key, const json_t *json);
struct place element(const struct place *place, const char *key, size_t i);
bool only_keys(const struct place *place, const char *const *known);

/* Between two bounds; where it is missing or null, `otherwise` (NEVER: it must be there). */
bool number(const struct place *place, const char *key, double low, double high, double otherwise,
            double *value);
bool text(const struct place *place, const char *key, const char *otherwise, char *to, size_t size);
bool truth(const struct place *place, const char *key, bool otherwise, bool *value);
/* KEY is the estimate, u_KEY its standard uncertainty; without one it is a share of the estimate.
 */
bool bounded(const struct place *place, const char *key, double low, double high, double otherwise,
             double u_rel, double scale, struct up_bounded *number_of);

#endif
