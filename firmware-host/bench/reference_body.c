/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reference bodies in a session: weighed first; outside its limits one raises a question. */
#include <stdio.h>
#include <string.h>

#include "measuring.h"
#include "metrology/statistics.h"
#include "reference_check.h"

static void push_check(struct measuring *measuring) {
    struct up_measurement *record = &measuring->record;
    events_push(measuring->events, UP_EVENT_CHECK)->check = record->check[record->checks];
}

static int accept(struct measuring *measuring) {
    struct up_measurement *record = &measuring->record;
    record->checks++;
    if (record->checks == 2) {
        /* Two bodies of different density separate the scale's error from the water's. */
        struct up_separation found;
        if (separate_bodies(&measuring->record, &found)) {
            events_note(
                measuring->events,
                "by both bodies the scale is off by %+.3f %% (u %.3f %%), the water's density by "
                "%+.2f kg/m3 (u %.2f)",
                found.scale_rel.value * 100, found.scale_rel.u * 100,
                found.density_error_kg_m3.value, found.density_error_kg_m3.u);
        }
    }
    return STEP_ONWARDS;
}

/* The mean of its readings; of one only the plateaus' noise is known. */
static struct up_quantity mean_load(struct measuring *measuring, struct up_quantity load) {
    measuring->body_counts[measuring->body_readings++] = load.value;
    struct up_summary all = up_summarise(measuring->body_counts, measuring->body_readings);
    double n = measuring->body_readings;
    return n > 1 ? (struct up_quantity){all.mean, all.sd / sqrt(n), n - 1} : load;
}

/* How a body scatters from one hanging to the next one reading does not tell, and a new bench has
   learned of nothing else: no fault before more were read. */
static bool hang_again(struct measuring *measuring) {
    if (measuring->body_readings == BODY_READINGS ||
        reference_scatter_is_known(&measuring->record)) {
        return false;
    }
    events_note(measuring->events, "the reference body is hung again, to see how far its "
                                   "readings lie apart: this bench has not learned that yet");
    return true;
}

int body_lifted_out(struct measuring *measuring, const struct up_indication *after) {
    struct up_measurement *record = &measuring->record;
    struct up_reference_check *check = &record->check[record->checks];
    up_measurement_check(record, &record->reference[record->checks],
                         mean_load(measuring, measuring_load(measuring, after)), check);
    if (check->outside && !check->by_history && hang_again(measuring)) {
        return STEP_ONWARDS;
    }
    measuring->body_readings = 0;
    push_check(measuring); /* at once: a session that ends at this question records it */
    if (!check->outside) {
        return accept(measuring);
    }
    snprintf(
        measuring->question, sizeof measuring->question,
        "It reads %.1f g too %s (its limits: %+.1f to %+.1f g). Bubbles, another water, an old "
        "calibration? Press Enter: it is weighed again. To continue, type accept; the record says "
        "so",
        fabs(check->deviation_kg.value) * 1e3, check->deviation_kg.value > 0 ? "heavy" : "light",
        check->low_kg * 1e3, check->high_kg * 1e3);
    return MEASURE_BODY_CONFIRM;
}

int body_skipped(struct measuring *measuring, enum up_answer_word word) {
    struct up_measurement *record = &measuring->record;
    struct up_reference_plan *here = &record->reference[record->checks];
    (void)word;
    if (record->check[record->checks].outside) { /* it was read, and is not weighed again */
        events_note(measuring->events, "a reference body outside its limits was not weighed again");
        return accept(measuring);
    }
    events_note(measuring->events, "a reference body was not weighed");
    record->references--;
    memmove(here, here + 1, (record->references - record->checks) * sizeof *here);
    return STEP_ONWARDS;
}

/* Done weighs it again: outside its limits only the typed word goes on. The journal keeps what was
   read before. */
int body_confirmed(struct measuring *measuring, enum up_answer_word word) {
    if (word != UP_ANSWER_ACCEPT) {
        events_note(measuring->events, "the reference body is weighed again: %s",
                    measuring->question);
        return STEP_ONWARDS;
    }
    events_note(measuring->events, "accepted by the operator: %s", measuring->question);
    measuring->record.check[measuring->record.checks].confirmed = true;
    push_check(measuring);
    return accept(measuring);
}
