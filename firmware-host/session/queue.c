/* SPDX-License-Identifier: GPL-3.0-or-later */
/* measure --queue: one item after the other, from a list. What was done is found in the records of
   the runs themselves, each of which names the queue it is part of; so the list may be left, taken
   up, and edited in between. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "queue.h"
#include "upthrust/text.h"

enum { LIST_MOST_BYTES = 1 << 20, SHAKES_USUAL = 2 };

/* Beside the reading itself: hang, shake or lift, dry one's hand, press (common practice, no
   source). Until the first item is done nobody knows better. */
static const double HANDLING_S = 20;

static double monotonic_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

/* ---- the list ---- */

static bool add_entry(struct queue *queue, struct up_catalogue *catalogue, const char *line,
                      int number, struct up_failure *failure) {
    struct up_item item;
    if (!up_item_find(catalogue, line, &item, failure)) {
        struct up_failure why = *failure;
        return up_fail(failure, why.status, "%.80s, line %d: %.300s", queue->path, number,
                       why.text);
    }
    for (unsigned i = 0; i < queue->count; i++) {
        if (strcmp(queue->entry[i].item.id, item.id) == 0) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "%.80s, line %d: %.80s stands there twice", queue->path, number,
                           item.name);
        }
    }
    if (queue->count == QUEUE_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%.80s: more than %d items", queue->path,
                       QUEUE_MAX);
    }
    queue->entry[queue->count++].item = item;
    return true;
}

static bool read_lines(struct queue *queue, struct up_catalogue *catalogue, char *text,
                       struct up_failure *failure) {
    static const char bom[] = "\xEF\xBB\xBF"; /* some editors begin a file with it */
    bool good = true;
    text += strncmp(text, bom, strlen(bom)) == 0 ? strlen(bom) : 0;
    for (int number = 1; good && *text != '\0'; number++) {
        char *line = text + strspn(text, " \t"), *end = text + strcspn(text, "\n");
        text = end + (*end == '\n');
        while (end > line && strchr(" \t\r", end[-1]) != NULL) {
            end--;
        }
        if (end > line && *line != '#') {
            *end = '\0';
            good = add_entry(queue, catalogue, line, number, failure);
        }
    }
    return good;
}

static bool read_list(struct queue *queue, struct up_catalogue *catalogue,
                      struct up_failure *failure) {
    size_t length = 0;
    char *text =
        up_text_read_file(queue->path, UP_LINKS_FOLLOWED, LIST_MOST_BYTES, &length, failure);
    if (text == NULL) {
        return up_fail(failure, failure->status, "%.400s; a list names an item a line",
                       failure->text);
    }
    bool good = (memchr(text, '\0', length) == NULL ||
                 up_fail(failure, UP_STATUS_WRONG_INPUT,
                         "%.80s is no list of items: it holds bytes that are no text; write a name "
                         "or id a line, in UTF-8",
                         queue->path)) &&
                read_lines(queue, catalogue, text, failure);
    free(text);
    return good &&
           (queue->count > 0 ||
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "%.200s names no item: write one a line, by its name or id", queue->path));
}

/* ---- what was done of it ---- */

struct past {
    struct queue *queue;
    const char *bench;
    bool of_latest; /* second round: entries of the latest queue are marked */
};

static void mark(struct queue *queue, const struct up_record *record) {
    bool completed = strcmp(up_record_text(record->body, "how_ended"), "completed") == 0;
    for (unsigned i = 0; i < queue->count; i++) {
        struct queue_entry *entry = &queue->entry[i];
        if (strcmp(entry->item.id, up_record_text(record->body, "item_id")) == 0) {
            entry->done = entry->done || completed;
            snprintf(entry->left_run, sizeof entry->left_run, "%s",
                     completed ? "" : record->subject);
        }
    }
}

static bool look_at_run(const struct up_record *record, void *context) {
    struct past *past = context;
    const json_t *queue = json_object_get(record->body, "queue");
    if (queue == NULL || strcmp(up_record_text(queue, "list"), past->queue->name) != 0 ||
        strcmp(record->bench, past->bench) != 0) {
        return true;
    }
    if (!past->of_latest) {
        snprintf(past->queue->id, sizeof past->queue->id, "%s", up_record_text(queue, "id"));
    } else if (strcmp(up_record_text(queue, "id"), past->queue->id) == 0) {
        mark(past->queue, record);
    }
    return true;
}

static bool find_done(struct queue *queue, struct up_catalogue *catalogue, const char *bench,
                      struct up_failure *failure) {
    struct past past = {.queue = queue, .bench = bench};
    if (!up_catalogue_each(catalogue, "run", look_at_run, &past, failure)) {
        return false;
    }
    if (queue->id[0] == '\0') {
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "nothing was measured from a list called %.80s on the bench %.60s yet: begin "
            "without --resume",
            queue->name, bench);
    }
    past.of_latest = true;
    return up_catalogue_each(catalogue, "run", look_at_run, &past, failure);
}

bool queue_open(struct queue *queue, struct up_catalogue *catalogue, const char *path,
                const char *resume_bench, struct up_failure *failure) {
    const char *slash = strrchr(path, '/');
    char *name =
        up_text_clean(slash != NULL ? slash + 1 : path, strlen(slash != NULL ? slash + 1 : path));
    memset(queue, 0, sizeof *queue);
    queue->path = path;
    snprintf(queue->name, sizeof queue->name, "%s", name);
    free(name);
    if (!read_list(queue, catalogue, failure)) {
        return false;
    }
    if (resume_bench == NULL) {
        up_new_id(queue->id);
        return true;
    }
    return find_done(queue, catalogue, resume_bench, failure);
}

/* ---- where we are ---- */

unsigned queue_left(const struct queue *queue) {
    unsigned left = 0;
    for (unsigned i = 0; i < queue->count; i++) {
        left += !queue->entry[i].done;
    }
    return left;
}

static double guess_s(const struct up_measure_plan *plan, const struct up_rig *rig) {
    unsigned trials = plan->looks > 0 ? plan->look[0] : plan->trials;
    double readings = 2.0 + trials * (2.0 + SHAKES_USUAL);
    return readings * (rig->read_after_s + rig->window_s / 2 + HANDLING_S);
}

void queue_begin_item(struct queue *queue) {
    queue->begun_s = monotonic_s();
}

void queue_end_item(struct queue *queue, unsigned index) {
    queue->entry[index].done = true;
    queue->spent_s += monotonic_s() - queue->begun_s;
    queue->spent_items++;
}

static const char *name_after(const struct queue *queue, unsigned index) {
    for (unsigned i = index + 1; i < queue->count; i++) {
        if (!queue->entry[i].done) {
            return queue->entry[i].item.name;
        }
    }
    return NULL;
}

void queue_say_place(const struct queue *queue, unsigned index, const struct up_measure_plan *plan,
                     const struct up_rig *rig, char *text, size_t size) {
    double each_s =
        queue->spent_items > 0 ? queue->spent_s / queue->spent_items : guess_s(plan, rig);
    double left_min = ceil(each_s * queue_left(queue) / 60);
    const char *next = name_after(queue, index);
    char span[40];
    if (left_min < 90) {
        snprintf(span, sizeof span, "%.0f min", left_min);
    } else {
        snprintf(span, sizeof span, "%.1f h", left_min / 60);
    }
    snprintf(text, size, "%u of %u, about %s left%s%.80s", index + 1, queue->count, span,
             next != NULL ? ", next: " : ", the last", next != NULL ? next : "");
}

json_t *queue_to_json(const struct queue *queue, unsigned index) {
    return json_pack("{s:s, s:s, s:i, s:i}", "id", queue->id, "list", queue->name, "place",
                     (int)index + 1, "of", (int)queue->count);
}
