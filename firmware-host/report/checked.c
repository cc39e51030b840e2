/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The marks in tables and pictures: what no reference body spoke for, and what is simulated. */
#include <string.h>

#include "report/report.h"
#include "text/memory.h"
#include "upthrust/rig.h"

enum up_checked up_checked_of(const char *word) {
    return strcmp(word, "inside") == 0    ? UP_CHECKED_INSIDE
           : strcmp(word, "outside") == 0 ? UP_CHECKED_OUTSIDE
                                          : UP_CHECKED_NOT;
}

const char *up_checked_mark(enum up_checked checked) {
    static const char *const marks[] = {
        [UP_CHECKED_INSIDE] = "", [UP_CHECKED_NOT] = "?", [UP_CHECKED_OUTSIDE] = "!"};
    return marks[checked];
}

const char *up_checked_meaning(enum up_checked checked) {
    static const char *const meanings[] = {
        [UP_CHECKED_INSIDE] = "",
        [UP_CHECKED_NOT] = "unchecked: no reference body shows that the bench was right",
        [UP_CHECKED_OUTSIDE] = "the last reference body before it read outside its limits"};
    return meanings[checked];
}

/* ---- of what no gear was weighed ---- */

struct look {
    const char *bench;
    bool simulated;
    bool own; /* by a record of here, over which none of elsewhere goes */
};

/* A record from before that was told has the rig file instead. */
static bool is_simulated(const json_t *content) {
    struct up_failure unreadable;
    UP_FREED struct up_rig *rig = up_allocate(1, sizeof *rig);
    const json_t *told = json_object_get(content, "simulated");
    return json_is_boolean(told)
               ? json_is_true(told)
               : up_rig_parse("rig", up_record_text(content, "file_text"), rig, &unreadable) &&
                     rig->simulated;
}

static bool look_at_rig(const struct up_record *record, void *context) {
    struct look *look = context;
    if (strcmp(record->bench, look->bench) == 0 && (!record->elsewhere || !look->own)) {
        look->own = !record->elsewhere;
        look->simulated = is_simulated(record->content);
    }
    return true;
}

bool up_bench_is_simulated(struct up_catalogue *catalogue, const char *bench) {
    struct look look = {.bench = bench};
    struct up_failure unknown;
    return up_claim_is_simulated(NULL, bench) ||
           (up_catalogue_each(catalogue, "rig", look_at_rig, &look, &unknown) && look.simulated);
}
