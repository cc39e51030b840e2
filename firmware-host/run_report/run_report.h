/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One weighing on paper, as a calibration laboratory would hand it out: what was weighed, how, in
 * which conditions, with which masses, what came out, how sure that is, by which rule the class is
 * stated, and what it is for. Its contents follow ISO/IEC 17025:2017 clause 7.8; nobody accredited
 * it, and it says so.
 */
#pragma once

#include "text/style.h"
#include "upthrust/catalogue.h"

/* `run`: the id of a run of `measure`, the beginning of one, or "latest". The file appears whole or
   not at all; the same catalogue gives the same bytes. *pages: how many it has. *lacks_a_glyph: no
   font here has all its characters. */
struct up_run_report_drawn {
    char run_id[UP_ID_SIZE];
    unsigned pages;
    bool lacks_a_glyph;
};
bool up_run_report_draw(struct up_catalogue *catalogue, const char *run,
                        const struct up_style *style, const char *file,
                        struct up_run_report_drawn *drawn, struct up_failure *failure);
