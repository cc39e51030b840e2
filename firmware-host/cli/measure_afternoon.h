/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The results of a queue. */
#pragma once

#include "session/session.h"
#include "text/style.h"

struct afternoon;

/* What the catalogue holds of the runs of a queue; NULL where it cannot be read. */
struct afternoon *afternoon_load(struct up_catalogue *catalogue, const char *queue_id,
                                 struct up_failure *failure);
bool afternoon_is_empty(const struct afternoon *afternoon);
void afternoon_free(struct afternoon *afternoon);
void afternoon_print(const struct afternoon *afternoon, const struct up_style *style, FILE *stream);
/* Into queues/ of the catalogue. Both paths are the caller's; *aside NULL: nothing was put aside.
 */
bool afternoon_write(struct afternoon *afternoon, char **csv, char **aside,
                     struct up_failure *failure);
