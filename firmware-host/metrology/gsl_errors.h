/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What becomes of GSL's errors; its own handler ends the program without a word of ours. */
#pragma once

/* From now on GSL answers with a code or NaN. Without memory the program ends as it does elsewhere:
   within its own functions GSL goes on with what it could not allocate. */
void up_gsl_answers(void);
