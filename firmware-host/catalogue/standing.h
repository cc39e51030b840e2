/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a reference body has shown that a bench weighs as it claims. Masses that are all light by
 * the same share, salt in water that is declared fresh, a line that always touches: no trace of an
 * item shows these, a body of known mass and volume does.
 *
 * The last session at the bench in which bodies were weighed counts, one of before the calibration
 * does not. A body inside its limits speaks for a week, and for the water that it hung in; one
 * outside speaks until another session has weighed one. A session's own bodies always count.
 */
#pragma once

#include "upthrust/catalogue.h"

enum up_standing {
    UP_STANDING_NO_BODY,     /* none was weighed since the calibration */
    UP_STANDING_OLD,         /* more than a week ago */
    UP_STANDING_OTHER_WATER, /* the tank was filled with another since */
    UP_STANDING_INSIDE,
    UP_STANDING_OUTSIDE, /* of its limits */
};

/* As the exports have it: "inside", "outside", or "unchecked" for the rest. */
const char *up_standing_word(enum up_standing standing);

/* The word of every current result, by its id: an object for the caller to own; NULL where it
   fails. Results that were calculated later from a session have that session's word. */
json_t *up_standings(struct up_catalogue *catalogue, struct up_failure *failure);

/* That of an item which would be weighed now, with this calibration in this water. */
bool up_standing_now(struct up_catalogue *catalogue, const char *bench, const char *calibration_id,
                     const struct up_water *tank, enum up_standing *standing,
                     struct up_failure *failure);
