/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A list of items to be measured one after the other. */
#ifndef UPTHRUST_SESSION_QUEUE_H
#define UPTHRUST_SESSION_QUEUE_H

#include "../cli/cli.h"

enum { QUEUE_MAX = 200 };

struct queue_entry {
    struct up_item item;
    bool done;
    char left_run[UP_ID_SIZE]; /* begun in this queue and not completed; else empty */
};

struct queue {
    const char *path;
    char name[800];      /* the list's file name, which the queue goes by */
    char id[UP_ID_SIZE]; /* a beginning's own */
    struct queue_entry entry[QUEUE_MAX];
    unsigned count;
    double begun_s, spent_s; /* on the item under way, on those that were measured now */
    unsigned spent_items;
};

/* Reads the list: an item a line, by name or id; blank lines and those that begin with # count for
   nothing. With `resume_bench` it goes on with the latest queue from a list of this name there. */
bool queue_open(struct queue *queue, struct up_catalogue *catalogue, const char *path,
                const char *resume_bench, struct up_failure *failure);

/* Items not done yet. */
unsigned queue_left(const struct queue *queue);

void queue_begin_item(struct queue *queue);
void queue_end_item(struct queue *queue, unsigned index);

/* "3 of 20, about 1.5 h left, next: ...". */
void queue_say_place(const struct queue *queue, unsigned index, const struct up_measure_plan *plan,
                     const struct up_rig *rig, char *text, size_t size);

/* For the record of a run that is part of it. */
json_t *queue_to_json(const struct queue *queue, unsigned index);

#endif
