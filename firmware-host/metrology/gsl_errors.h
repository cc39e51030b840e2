/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Handling of GSL's errors; its own handler ends the program without our message. */
#pragma once

/* From now on GSL returns a code or NaN. Without memory the program ends as it does elsewhere:
   within its own functions GSL goes on with what it could not allocate. */
void up_gsl_answers(void);
