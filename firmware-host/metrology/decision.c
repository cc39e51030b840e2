/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The decision (JCGM 106:2012): a class is stated when its probability is high enough. */

#include "weighing_internal.h"

/* Precise enough to find the number of trials, which is a forecast anyway. */
enum { DRAWS_FORESEEN = 20000 };

const char *up_class_name(enum up_class class) {
    switch (class) {
    case UP_CLASS_POSITIVE:
        return "positive";
    case UP_CLASS_NEUTRAL:
        return "neutral";
    case UP_CLASS_NEGATIVE:
        return "negative";
    case UP_CLASS_UNDECIDED:
        break;
    }
    return "undecided";
}

double up_confidence_at_analysis(const struct up_question *question) {
    return question->analyses > 1 ? 1 - (1 - question->confidence) / question->analyses
                                  : question->confidence;
}

static enum up_class class_of(const struct up_answer *answer, double confidence) {
    if (answer->probability_positive >= confidence) {
        return UP_CLASS_POSITIVE;
    }
    if (answer->probability_negative >= confidence) {
        return UP_CLASS_NEGATIVE;
    }
    return answer->probability_neutral >= confidence ? UP_CLASS_NEUTRAL : UP_CLASS_UNDECIDED;
}

/* Where it is unknown how much of the air a shake frees, a class is stated only if it is the same
   with all the air that may be left and with none. */
enum up_class weighing_class(const struct up_weighing *weighing, const struct up_question *question,
                             const struct up_answer *answer) {
    double confidence = up_confidence_at_analysis(question);
    enum up_class stated = class_of(answer, confidence);
    const struct up_term *air = &weighing->term[UP_INPUT_TRAPPED_AIR];
    for (int side = -1; side <= 1 && stated != UP_CLASS_UNDECIDED && !question->air_share_known;
         side += 2) {
        struct up_weighing edge = *weighing;
        struct up_answer other = *answer;
        double shift_kg = side * sqrt(3) * air->u;
        edge.term[UP_INPUT_TRAPPED_AIR].value += shift_kg;
        edge.term[UP_INPUT_TRAPPED_AIR].u = 0;
        other.buoyancy_kg.value -= shift_kg;
        if (!weighing_draw(&edge, question, &other) || class_of(&other, confidence) != stated) {
            stated = UP_CLASS_UNDECIDED;
        }
    }
    return stated;
}

/* ---- would more trials help? ---- */

/* With so many trials in all; INFINITY: with none of their scatter left. */
static bool would_decide(const struct up_weighing *weighing, const struct up_question *question,
                         unsigned trials, double in_all) {
    struct up_weighing later = *weighing;
    struct up_question quick = *question;
    struct up_answer answer;
    double shrink = sqrt(trials / in_all);
    later.term[UP_INPUT_WATER_LOAD].u *= shrink;
    later.term[UP_INPUT_WATER_PLATEAU].u *= shrink;
    later.term[UP_INPUT_DRIFT].u *= shrink;
    later.term[UP_INPUT_WATER_LOAD].dof += in_all - trials;
    /* The dry weighing's scatter is estimated from the same trials. */
    later.term[UP_INPUT_AIR_LOAD].dof += in_all - trials;
    quick.draws = question->draws > 0 ? question->draws : DRAWS_FORESEEN;
    return up_weigh(&later, &quick, &answer) && answer.class != UP_CLASS_UNDECIDED;
}

bool up_trials_to_decide(const struct up_weighing *weighing, const struct up_question *question,
                         unsigned trials, unsigned *more) {
    unsigned low = 0, high = 1;
    *more = 0;
    if (trials == 0 || !would_decide(weighing, question, trials, (double)INFINITY)) {
        return false;
    }
    if (would_decide(weighing, question, trials, trials)) {
        return true;
    }
    while (high < UP_TRIALS_FORESEEN && !would_decide(weighing, question, trials, trials + high)) {
        low = high;
        high = 2 * high < UP_TRIALS_FORESEEN ? 2 * high : UP_TRIALS_FORESEEN;
    }
    if (!would_decide(weighing, question, trials, trials + high)) {
        return false;
    }
    while (high - low > 1) { /* not with low more, but with high more */
        unsigned middle = low + (high - low) / 2;
        if (would_decide(weighing, question, trials, trials + middle)) {
            high = middle;
        } else {
            low = middle;
        }
    }
    *more = high;
    return true;
}
