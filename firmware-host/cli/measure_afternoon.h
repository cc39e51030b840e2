/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The results of a queue, as they come. */
#pragma once

#include "session/session.h"
#include "text/style.h"

struct afternoon;

struct afternoon *afternoon_begin(void);
void afternoon_free(struct afternoon *afternoon);
void afternoon_add(struct afternoon *afternoon, const struct up_session_results *results);
void afternoon_print(const struct afternoon *afternoon, const struct up_style *style, FILE *stream);
/* Into queues/ of the catalogue. Both paths are the caller's; *aside NULL: nothing was put aside.
 */
bool afternoon_write(struct afternoon *afternoon, const char *directory, const char *queue_id,
                     char **csv, char **aside, struct up_failure *failure);
