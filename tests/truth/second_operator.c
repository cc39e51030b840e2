/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "second_operator.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "second_mistakes.h"

/* The word that accepts what a check found. */
static const enum up_answer_word accepting = UP_ANSWER_ACCEPT;

const double second_masses_kg[SECOND_MASSES] = {0.5, 1, 2, 4};

void second_operator_begin(struct second_operator *person, struct second_tank *tank,
                           const struct second_truth *truth, enum second_mistake mistake,
                           gsl_rng *chance) {
    memset(person, 0, sizeof *person);
    person->tank = tank;
    person->truth = truth;
    person->chance = chance;
    person->mistake = mistake;
    person->answer_at_s = (double)NAN;
    second_mistake_begin(person);
}

void second_operator_goes_on(struct second_operator *person, const struct second_operator *before) {
    person->begun = before->begun;
    person->mended = person->moved_since = before->mended;
    person->noticed = before->noticed;
    person->too_late = true;
}

/* ---- handling: each takes its time ---- */

static double between(struct second_operator *person, double low, double high) {
    return gsl_ran_flat(person->chance, low, high);
}

static void add_move(struct second_operator *person, double at_s, struct second_hung hung,
                     bool hand) {
    hung.hand = hand;
    person->move[person->moves++] = (struct second_move){.at_s = at_s, .hung = hung};
}

static void answer_at(struct second_operator *person, double after_s) {
    person->answer_at_s = after_s + between(person, 0.5, 2);
}

/* The hand comes, something is hung or taken off, the hand lets go. */
static void plan_change(struct second_operator *person, double asked_s,
                        const struct second_hung *want) {
    double at_s = asked_s + between(person, 1.5, 4);
    add_move(person, at_s, person->tank->hung, true);
    at_s += between(person, 3, 8);
    add_move(person, at_s, *want, true);
    at_s += between(person, 0.5, 1.5);
    add_move(person, at_s, *want, false);
    answer_at(person, at_s);
}

static void plan_shake(struct second_operator *person, double asked_s,
                       const struct second_hung *want, bool really) {
    double at_s = asked_s + between(person, 1.5, 4);
    struct second_hung off = *want;
    off.unhooked = true;
    add_move(person, at_s, person->tank->hung, true);
    at_s += between(person, 1, 2);
    add_move(person, at_s, off, true);
    at_s += between(person, 3, 7);
    add_move(person, at_s, *want, true);
    person->move[person->moves - 1].shake = really;
    at_s += between(person, 0.5, 1.5);
    add_move(person, at_s, *want, false);
    answer_at(person, at_s);
}

/* Nothing to do, or nothing done. */
static void plan_nothing(struct second_operator *person, double asked_s) {
    answer_at(person, asked_s + between(person, 0.5, 2));
}

static bool hangs_so(const struct second_hung *is, const struct second_hung *want) {
    return is->masses_kg == want->masses_kg && is->ballast_share == want->ballast_share &&
           is->in_air == want->in_air && is->in_water == want->in_water && !is->hand &&
           !is->unhooked;
}

static void plan_hang(struct second_operator *person, double asked_s,
                      const struct second_hung *want) {
    if (hangs_so(&person->tank->hung, want))
        plan_nothing(person, asked_s);
    else
        plan_change(person, asked_s, want);
}

/* ---- what is asked ---- */

static bool errs(struct second_operator *person, enum second_mistake mistake) {
    return second_mistake_now(person, mistake);
}

/* What is wrong with the tank itself shows as soon as something hangs in it. */
static void spoil_in_water(struct second_operator *person) {
    static const enum second_mistake in_water[] = {SECOND_BALLAST_ON_FLOOR,
                                                   SECOND_BALLAST_TOO_LIGHT, SECOND_ITEM_TOUCHES,
                                                   SECOND_SALT, SECOND_CONSTANT_TOUCH};
    for (size_t i = 0; i < sizeof in_water / sizeof *in_water; i++)
        errs(person, in_water[i]);
}

static const struct second_item *item_at_hand(struct second_operator *person) {
    return errs(person, SECOND_OTHER_ITEM) ? &person->truth->other : &person->truth->item;
}

static double ballast_share(struct second_operator *person, double now) {
    if (errs(person, SECOND_BALLAST_SLIPS))
        return person->amount;
    return person->mended && now > 0 ? 1 : now;
}

static void plan_immersion(struct second_operator *person, double asked_s, struct second_hung *want,
                           bool body) {
    spoil_in_water(person);
    want->in_water = body ? &person->truth->body : item_at_hand(person);
    if (!body && errs(person, SECOND_NOTHING_IMMERSED))
        plan_nothing(person, asked_s);
    else
        plan_hang(person, asked_s, want);
}

static void plan_shaking(struct second_operator *person, double asked_s,
                         const struct second_hung *want) {
    if (!want->in_water || errs(person, SECOND_NO_SHAKE))
        plan_nothing(person, asked_s);
    else
        plan_shake(person, asked_s, want, !errs(person, SECOND_NO_REAL_SHAKE));
}

/* Out of the water, or off the upper hook. */
static void plan_taking_off(struct second_operator *person, double asked_s,
                            struct second_hung *want, bool from_water) {
    bool forgotten = false;
    if (from_water && want->in_water)
        forgotten = errs(person, SECOND_NOT_LIFTED_ONCE) || errs(person, SECOND_NEVER_LIFTED);
    if (from_water && want->masses_kg > 0)
        forgotten = errs(person, SECOND_MASS_LEFT);
    want->masses_kg = 0;
    want->in_air = NULL;
    if (from_water)
        want->in_water = NULL;
    if (forgotten)
        plan_nothing(person, asked_s);
    else
        plan_hang(person, asked_s, want);
}

static void plan_dry(struct second_operator *person, double asked_s, struct second_hung *want) {
    want->in_air = &person->truth->item;
    if (errs(person, SECOND_NOTHING_DRY))
        plan_nothing(person, asked_s);
    else
        plan_hang(person, asked_s, want);
}

static void plan_number(struct second_operator *person, double asked_s) {
    person->answer.word = UP_ANSWER_NUMBER;
    person->answer.number =
        second_tank_water_c(person->tank, asked_s) + person->truth->thermometer_k;
    plan_nothing(person, asked_s);
}

/* He reads which word means what, as anybody would: "Skip: leave it out", "Again: weigh it once
   more", "Done: go on". Where nothing is said, done does it again. */
static enum up_answer_word word_for(const char *text, bool spoilt) {
    bool may_leave_out = strstr(text, "leave it out") || strstr(text, "leave them out");
    if (may_leave_out)
        return spoilt ? UP_ANSWER_SKIP : UP_ANSWER_DONE;
    if (!spoilt)
        return accepting;
    return strstr(text, "Again:") ? UP_ANSWER_AGAIN : UP_ANSWER_DONE;
}

static void plan_word(struct second_operator *person, const struct up_ask *ask) {
    char text[512];
    snprintf(text, sizeof text, "%s %s", ask->text, ask->how ? ask->how : "");
    bool spoilt = second_mistake_questioned(person, text);
    person->answer.word = person->doubts > 2 ? UP_ANSWER_STOP : word_for(text, spoilt);
    plan_nothing(person, ask->time_s);
}

/* "Wait 20 s ...": as it is asked. */
static double begin_s(const struct up_ask *ask) {
    double wait_s = 0;
    return ask->time_s + (sscanf(ask->text, "Wait %lf s", &wait_s) == 1 ? wait_s : 0);
}

static void plan(struct second_operator *person, const struct up_ask *ask,
                 struct second_hung *want) {
    double asked_s = begin_s(ask);
    switch ((int)ask->action) {
    case UP_ACTION_BARE_HOOK: /* he looks at the ballast that he takes off */
        errs(person, SECOND_BALLAST_ON_FLOOR);
        errs(person, SECOND_BALLAST_TOO_LIGHT);
        *want = (struct second_hung){.ballast_share = 0};
        plan_hang(person, asked_s, want);
        break;
    case UP_ACTION_ADD_BALLAST:
        want->ballast_share = 1;
        plan_hang(person, asked_s, want);
        break;
    case UP_ACTION_HANG_MASS:
        want->masses_kg = second_mistake_mass_kg(person, ask->mass_kg);
        plan_hang(person, asked_s, want);
        break;
    case UP_ACTION_HANG_IN_AIR:
        plan_dry(person, asked_s, want);
        break;
    case UP_ACTION_IMMERSE:
    case UP_ACTION_HANG_REFERENCE:
        plan_immersion(person, asked_s, want, ask->action == UP_ACTION_HANG_REFERENCE);
        break;
    case UP_ACTION_SHAKE:
        plan_shaking(person, asked_s, want);
        break;
    case UP_ACTION_EMPTY_IN_AIR:
    case UP_ACTION_EMPTY_IN_WATER:
    case UP_ACTION_LIFT_OUT:
        plan_taking_off(person, asked_s, want, ask->action != UP_ACTION_EMPTY_IN_AIR);
        break;
    case UP_ACTION_READ_TEMPERATURE:
        plan_number(person, asked_s);
        break;
    case UP_ACTION_CONFIRM:
        plan_word(person, ask);
        break;
    default: /* an action he does not know */
        person->answer.word = UP_ANSWER_SKIP;
        plan_nothing(person, asked_s);
    }
}

void second_operator_asked(struct second_operator *person, const struct up_ask *ask) {
    struct second_hung want = person->tank->hung;
    want.unhooked = false; /* where a fault broke in while it was held */
    /* Where none hangs none slips. */
    if (ask->action != UP_ACTION_BARE_HOOK)
        want.ballast_share = ballast_share(person, want.ballast_share);
    person->moves = person->moved = 0;
    if (ask->action != UP_ACTION_CONFIRM)
        person->moved_since = true;
    person->answer = (struct second_answer){.id = ask->id, .word = UP_ANSWER_DONE};
    plan(person, ask, &want);
}

void second_operator_warned(struct second_operator *person, const char *text) {
    second_mistake_questioned(person, text);
}

void second_operator_trial_ended(struct second_operator *person, unsigned number) {
    person->trials = number;
    if (person->spoiling && number >= 1 && number <= 64)
        person->spoilt |= (uint64_t)1 << (number - 1);
    person->spoiling = false;
}

bool second_operator_acts(struct second_operator *person, double time_s,
                          struct second_answer *answer) {
    while (person->moved < person->moves && person->move[person->moved].at_s <= time_s) {
        const struct second_move *move = &person->move[person->moved++];
        if (move->shake)
            second_tank_shake(person->tank, move->at_s);
        second_tank_change(person->tank, move->at_s, &move->hung);
    }
    if (!(person->answer_at_s <= time_s))
        return false;
    person->answer_at_s = (double)NAN;
    *answer = person->answer;
    return true;
}
