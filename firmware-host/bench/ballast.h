/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What lead weighs in water, and how much of it holds down a lift with room to spare. */
#pragma once

double ballast_holds_kg(double lead_kg);
double ballast_wanted_kg(double lift_kg);
