/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stands on paper. Beside each section the clause of ISO/IEC 17025:2017 that it answers. */
#pragma once

#include "run_report/facts.h"
#include "run_report/paper.h"
#include "text/style.h"

void sections_put(struct paper *paper, const struct facts *facts, const struct up_style *style);

/* Each line of a text as it stands; takes it apart. */
void sections_put_lines(struct paper *paper, char *text);

/* The budget, trials and calibration (sections_numbers.c). */
void sections_put_trials(struct paper *paper, const struct facts *facts,
                         const struct up_style *style);
void sections_put_calibration(struct paper *paper, const struct facts *facts,
                              const struct up_style *style);
void sections_put_budget(struct paper *paper, const struct facts *facts,
                         const struct up_style *style);
