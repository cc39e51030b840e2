/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One item after the other, from a list. What was done is found in the records of
   the runs themselves, each of which names the queue it is part of; so the list may be left,
   resumed and edited in between. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "session/stock_list.h"
#include "text/clock.h"
#include "text/text.h"

/* ---- what was done of it ---- */

struct search {
    struct up_queue *queue;
    struct up_catalogue *catalogue;
    const char *bench;
    bool of_latest; /* second round: entries of the latest queue are marked */
};

static void note_run(struct up_queue_entry *entry, const struct up_record *record) {
    bool completed = strcmp(up_record_text(record->content, "how_ended"), "completed") == 0;
    entry->done = entry->done || completed;
    snprintf(entry->unfinished_run, sizeof entry->unfinished_run, "%s",
             completed ? "" : record->subject);
}

static bool is_of(const struct up_queue_entry *entry, const struct up_record *record) {
    return strcmp(entry->item.id, up_record_text(record->content, "item_id")) == 0;
}

/* Nothing but its runs names what was scanned: each run is an entry, unless it goes on with one
   that was not completed. An item that is no longer known cannot go on. */
static void take_scanned(const struct search *search, const struct up_record *record) {
    struct up_queue *queue = search->queue;
    struct up_failure ignored;
    for (unsigned i = 0; i < queue->count; i++) {
        if (!queue->entry[i].done && is_of(&queue->entry[i], record)) {
            note_run(&queue->entry[i], record);
            return;
        }
    }
    struct up_queue_entry *entry = &queue->entry[queue->count];
    if (queue->count < UP_QUEUE_MAX - 1 &&
        up_item_find(search->catalogue, up_record_text(record->content, "item_id"), &entry->item,
                     &ignored)) {
        note_run(entry, record);
        queue->count++;
    }
}

static void mark(const struct search *search, const struct up_record *record) {
    struct up_queue *queue = search->queue;
    if (queue->scans != NULL) {
        take_scanned(search, record);
        return;
    }
    for (unsigned i = 0; i < queue->count; i++) {
        if (is_of(&queue->entry[i], record)) {
            note_run(&queue->entry[i], record);
        }
    }
}

static bool consider_run(const struct up_record *record, void *context) {
    struct search *search = context;
    const json_t *queue = json_object_get(record->content, "queue");
    if (record->elsewhere || queue == NULL ||
        strcmp(up_record_text(queue, "list"), search->queue->name) != 0 ||
        strcmp(record->bench, search->bench) != 0) {
        return true;
    }
    if (!search->of_latest) {
        snprintf(search->queue->id, sizeof search->queue->id, "%s", up_record_text(queue, "id"));
    } else if (strcmp(up_record_text(queue, "id"), search->queue->id) == 0) {
        mark(search, record);
    }
    return true;
}

static bool find_done(struct up_queue *queue, struct up_catalogue *catalogue, const char *bench,
                      struct up_failure *failure) {
    struct search search = {.queue = queue, .catalogue = catalogue, .bench = bench};
    if (!up_catalogue_each(catalogue, "run", consider_run, &search, failure)) {
        return false;
    }
    if (queue->id[0] == '\0' && queue->scans != NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "nothing was scanned on the bench %.60s yet: begin without --resume", bench);
    }
    if (queue->id[0] == '\0') {
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "nothing was measured from a list called %.80s on the bench %.60s yet: begin "
            "without --resume",
            queue->name, bench);
    }
    search.of_latest = true;
    return up_catalogue_each(catalogue, "run", consider_run, &search, failure);
}

/* The queue's id: a new one, or that of the latest, which goes on. */
static bool begin_or_resume(struct up_queue *queue, struct up_catalogue *catalogue,
                            const char *resume_rig_id, struct up_failure *failure) {
    if (resume_rig_id == NULL) {
        up_new_id(queue->id);
        return true;
    }
    return find_done(queue, catalogue, resume_rig_id, failure);
}

bool up_queue_begin_scanning(struct up_queue *queue, struct up_catalogue *catalogue,
                             const char *resume_rig_id, struct up_failure *failure) {
    memset(queue, 0, sizeof *queue);
    queue->path = queue->scans = "barcodes";
    snprintf(queue->name, sizeof queue->name, "%s", queue->path);
    return begin_or_resume(queue, catalogue, resume_rig_id, failure);
}

bool up_queue_open(struct up_queue *queue, struct up_catalogue *catalogue, const char *path,
                   const char *resume_rig_id, struct up_failure *failure) {
    const char *slash = strrchr(path, '/');
    char *name =
        up_text_clean(slash != NULL ? slash + 1 : path, strlen(slash != NULL ? slash + 1 : path));
    memset(queue, 0, sizeof *queue);
    queue->path = path;
    snprintf(queue->name, sizeof queue->name, "%s", name);
    free(name);
    return up_stock_read(queue, catalogue, failure) &&
           begin_or_resume(queue, catalogue, resume_rig_id, failure);
}

/* ---- where we are ---- */

unsigned up_queue_remaining(const struct up_queue *queue) {
    unsigned remaining = 0;
    for (unsigned i = 0; i < queue->count; i++) {
        remaining += !queue->entry[i].done;
    }
    return remaining;
}

static void end_item(struct up_queue *queue, unsigned index) {
    queue->entry[index].done = true;
    queue->spent_s += up_monotonic_s() - queue->begun_s;
    queue->spent_items++;
}

static void format_tally(const struct up_queue *queue, char text[200]) {
    const char *comma = "; so far ";
    text[0] = '\0';
    for (int class = 0; class <= UP_CLASS_NEGATIVE; class ++) {
        size_t length = strlen(text);
        if (queue->tally[class] > 0) {
            snprintf(text + length, 200 - length, "%s%u %s", comma, queue->tally[class],
                     up_class_name((enum up_class) class));
            comma = ", ";
        }
    }
}

static const char *name_after(const struct up_queue *queue, unsigned index) {
    for (unsigned i = index + 1; i < queue->count; i++) {
        if (!queue->entry[i].done) {
            return queue->entry[i].item.name;
        }
    }
    return NULL;
}

/* Neighbours share the hanger's reading, so the first one takes longest. */
static double left_s(const struct up_queue *queue, const struct up_measure_plan *plan) {
    struct up_measure_plan neighbour = *plan;
    double trial_s, first_s = up_measure_guess_s(plan, &trial_s);
    neighbour.opening.known = true;
    double each_s = up_measure_guess_s(&neighbour, &trial_s);
    unsigned remaining = up_queue_remaining(queue);
    return queue->spent_items > 0 ? queue->spent_s / queue->spent_items * remaining
                                  : first_s + each_s * (remaining - 1.0);
}

/* What a narrow screen cuts off stands last: of a number no part may stay. */
static void format_place(const struct up_queue *queue, unsigned index,
                         const struct up_measure_plan *plan, char *text, size_t size) {
    double remaining_min = ceil(left_s(queue, plan) / 60);
    const char *next = name_after(queue, index);
    char span[40], tally[200];
    format_tally(queue, tally);
    if (remaining_min < 90) {
        snprintf(span, sizeof span, "%.0f min", remaining_min);
    } else {
        snprintf(span, sizeof span, "%.1f h", remaining_min / 60);
    }
    if (queue->scans != NULL) {
        snprintf(text, size, "number %u%s%s", index + 1, queue->last, tally);
        return;
    }
    snprintf(text, size, "%u of %u, about %s left%s%s%.80s%s", index + 1, queue->count, span,
             queue->last,
             next == NULL             ? "; this is the last"
             : queue->last[0] != '\0' ? "; next: "
                                      : ", next: ",
             next != NULL ? next : "", tally);
}

/* ---- measuring ---- */

/* An item that was begun and cannot be resumed, because the item, the rig or the calibration
   changed, starts again: one item must not keep the rest of the list waiting. */
static bool find_unfinished(const struct up_session_settings *settings,
                            struct up_queue_entry *entry, struct up_failure *failure) {
    struct up_failure why;
    if (entry->unfinished_run[0] == '\0' || session_can_resume(settings, &entry->item, &why)) {
        return true;
    }
    if (why.status != UP_STATUS_WRONG_INPUT) {
        *failure = why;
        return false;
    }
    send_note(settings, "%s; it is begun again here", why.text);
    entry->unfinished_run[0] = '\0';
    return true;
}

static bool measure_entry(struct up_queue *queue, unsigned index,
                          const struct up_session_settings *settings, struct up_measure_plan *plan,
                          const struct up_queue_caller *caller, struct queue_shared *queue_shared,
                          struct up_session_results *results, struct up_failure *failure) {
    struct up_queue_entry *entry = &queue->entry[index];
    struct up_session_settings resuming = *settings;
    char place[400];
    bool good;
    resuming.resume = entry->unfinished_run;
    if (!find_unfinished(&resuming, entry, failure)) {
        return false;
    }
    format_place(queue, index, plan, place, sizeof place);
    plan->filling = entry->filling;
    if (plan->quick.on) {
        plan->quick.mass_kg = entry->mass_kg;
        plan->quick.u_mass_kg = entry->u_mass_kg;
    }
    queue_shared->place = place;
    queue_shared->queue = (json_pack("{s:s, s:s, s:i, s:i}", "id", queue->id, "list", queue->name,
                                     "place", (int)index + 1, "of", (int)queue->count));
    caller->begin(caller->context, &entry->item, place, queue_shared->queue);
    queue->begun_s = up_monotonic_s();
    good = entry->unfinished_run[0] != '\0'
               ? session_resume_measure(&resuming, &entry->item, queue_shared, results, failure)
               : up_session_plan_item(settings->catalogue, settings->rig, &entry->item, plan,
                                      failure) &&
                     session_measure(&resuming, plan, queue_shared, results, failure);
    plan->references = 0; /* once, at the beginning */
    json_decref(queue_shared->queue);
    return good;
}

static bool may_go_on(const struct up_session_settings *settings,
                      const struct queue_shared *queue_shared) {
    return !queue_shared->unfinished && signal_of(settings) == 0;
}

/* Of the first water asked for, else the tank's own, as that of a quick weighing: it stays in view
   while the next one begins. */
static void note_result(struct up_queue *queue, const struct up_session_results *results) {
    bool tank = results->results == 1 || results->result[0].quick.is;
    const struct up_result *result = &results->result[tank ? 0 : 1];
    bool most = result->quick.at_most;
    if (results->results == 0) {
        return;
    }
    queue->tally[result->answer.class]++;
    bool aside = result->quick.aside != UP_ASIDE_NOT;
    snprintf(queue->last, sizeof queue->last, "; before, in %.20s: %s, %s%+.0f g",
             result->water.name, aside ? "put aside" : up_class_name(result->answer.class),
             most ? "at most " : "",
             most ? up_text_round_up(1e3 * result->quick.high_kg, 1)
                  : round(1e3 * result->answer.buoyancy_kg.value) + 0.0);
}

/* What a quick weighing could not decide is weighed in full at once, where the operator says so. */
static bool measure_one(struct up_queue *queue, unsigned index,
                        const struct up_session_settings *settings, struct up_measure_plan *plan,
                        const struct up_queue_caller *caller, struct queue_shared *queue_shared,
                        struct up_session_results *results, struct up_failure *failure) {
    struct up_measure_plan full = *plan;
    full.quick.on = false;
    full.trials = (unsigned)settings->rig->trials;
    bool good = measure_entry(queue, index, settings, plan, caller, queue_shared, results, failure);
    if (good) {
        note_result(queue, results);
        caller->done(caller->context, results);
    }
    if (good && queue_shared->full_now && may_go_on(settings, queue_shared)) {
        queue->entry[index].unfinished_run[0] = '\0';
        good = measure_entry(queue, index, settings, &full, caller, queue_shared, results, failure);
        if (good) {
            note_result(queue, results);
            caller->done(caller->context, results);
        }
    }
    return good;
}

/* False where no other one comes: the list is at its end, or nobody scans any more. */
static bool has_next(struct up_queue *queue, unsigned index, const struct up_queue_caller *caller) {
    if (index < queue->count || queue->scans == NULL) {
        return index < queue->count;
    }
    queue->entry[index] = (struct up_queue_entry){.done = false};
    bool scanned = index < UP_QUEUE_MAX - 1 && caller->scan != NULL &&
                   caller->scan(caller->context, &queue->entry[index]);
    queue->count += scanned;
    return scanned;
}

bool up_queue_measure(struct up_queue *queue, const struct up_session_settings *settings,
                      const struct up_measure_plan *wanted, const struct up_queue_caller *caller,
                      struct up_failure *failure) {
    UP_FREED struct up_session_results *results = up_allocate(1, sizeof *results);
    struct up_measure_plan plan = *wanted;
    plan.rig = settings->rig;
    struct queue_shared queue_shared = {0};
    bool good = true;
    for (unsigned i = 0; good && may_go_on(settings, &queue_shared) && has_next(queue, i, caller);
         i++) {
        if (queue->entry[i].done) {
            continue;
        }
        good = measure_one(queue, i, settings, &plan, caller, &queue_shared, results, failure);
        if (good && !queue_shared.unfinished) {
            end_item(queue, i);
        }
    }
    up_source_close(queue_shared.source);
    return good || queue_shared.left;
}
