/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the model, its two combinations and the decision share. */
#pragma once

#include "upthrust/weighing.h"

/* weighing.c */
void weighing_solve(const struct up_weighing *weighing, const double x[UP_INPUT_COUNT],
                    struct up_chain *chain);
void weighing_estimates(const struct up_weighing *weighing, double x[UP_INPUT_COUNT]);

/* monte_carlo.c: everything of the answer that comes from draws. Its estimate and first order are
   there already. False where a draw has no finite value. */
bool weighing_draw(const struct up_weighing *weighing, const struct up_question *question,
                   struct up_answer *answer);

/* decision.c: the class, from the probabilities and, where the air is not known, from others with
   all of it and with none. */
enum up_class weighing_class(const struct up_weighing *weighing, const struct up_question *question,
                             const struct up_answer *answer);
