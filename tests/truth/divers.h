/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef UPTHRUST_DIVERS_H
#define UPTHRUST_DIVERS_H

/* So many simulated divers by each law; asserts how often intervals and bounds hold, three standard
   deviations of chance allowed. */
void play_divers(unsigned divers);

#endif
