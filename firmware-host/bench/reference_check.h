/* SPDX-License-Identifier: GPL-3.0-or-later */
#pragma once

#include "metrology/bodies.h"
#include "upthrust/measurement.h"

/* What the two checks of a record together show about scale and water; false where they show
   nothing. */
bool separate_bodies(const struct up_measurement *measurement, struct up_separation *found);
/* Whether the bench has learned how what hangs under water scatters from one hanging to the next.
 */
bool reference_scatter_is_known(const struct up_measurement *measurement);
