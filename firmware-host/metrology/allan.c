/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "metrology/statistics.h"

/* Groups are made of smaller groups: 1 -> 2 and 5, 5 -> 10, 10 -> 20 and 50, 50 -> 100, ... so a
   value costs three steps on average, however far the factors reach. */

double up_allan_factor(int index) {
    static const double step[] = {1, 2, 5};
    double factor = step[index % 3];
    for (int i = 0; i < index / 3; i++) {
        factor *= 10;
    }
    return factor;
}

void up_allan_begin(struct up_allan *allan) {
    memset(allan, 0, sizeof *allan);
}

void up_allan_break(struct up_allan *allan) {
    for (int i = 0; i < UP_ALLAN_FACTORS; i++) {
        allan->group[i].parts = 0;
        allan->group[i].sum = 0;
        allan->group[i].has_last = false;
    }
    allan->has_origin = false;
}

static void complete(struct up_allan *allan, int index, double mean);

static void add(struct up_allan *allan, int index, double mean, unsigned parts) {
    struct up_allan_group *group = &allan->group[index];
    group->sum += mean;
    if (++group->parts == parts) {
        mean = group->sum / parts;
        group->sum = 0;
        group->parts = 0;
        complete(allan, index, mean);
    }
}

/* A mean over a whole group has been completed: its difference to the one before counts. */
static void complete(struct up_allan *allan, int index, double mean) {
    struct up_allan_group *group = &allan->group[index];
    if (group->has_last) {
        double difference = mean - group->last;
        group->squares += difference * difference;
        group->pairs++;
    }
    group->last = mean;
    group->has_last = true;
    if (index % 3 == 0 && index + 2 < UP_ALLAN_FACTORS) {
        add(allan, index + 1, mean, 2);
        add(allan, index + 2, mean, 5);
    } else if (index % 3 == 2 && index + 1 < UP_ALLAN_FACTORS) {
        add(allan, index + 1, mean, 2);
    }
}

void up_allan_push(struct up_allan *allan, double value) {
    if (!allan->has_origin) { /* small numbers keep their digits */
        allan->origin = value;
        allan->has_origin = true;
    }
    complete(allan, 0, value - allan->origin);
}

double up_allan_deviation(const struct up_allan *allan, int index) {
    const struct up_allan_group *group = &allan->group[index];
    return group->pairs > 0 ? sqrt(group->squares / (2 * (double)group->pairs)) : (double)NAN;
}

int up_allan_minimum(const struct up_allan *allan, uint64_t least_pairs) {
    int best = -1;
    for (int i = 0; i < UP_ALLAN_FACTORS; i++) {
        if (allan->group[i].pairs >= least_pairs &&
            (best < 0 || up_allan_deviation(allan, i) < up_allan_deviation(allan, best))) {
            best = i;
        }
    }
    return best;
}
