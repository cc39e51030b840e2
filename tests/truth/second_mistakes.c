/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What goes wrong at the second tank, where, and what is done about it when somebody asks. */
#include "second_mistakes.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double salt_g_kg_low = 3, salt_g_kg_high = 6;

struct row {
    const char *name;
    bool calibrating; /* made there */
    unsigned at_most; /* made at one of so many occasions, the first ones */
    bool may_go_on;   /* once, or from then on: half and half */
    bool goes_on;     /* always from then on */
    bool unseen;      /* nobody at the tank can see it */
};

static const struct row row[SECOND_MISTAKES] = {
    [SECOND_NO_MISTAKE] = {"none", false, 1, false, false, false},
    [SECOND_NOTHING_IMMERSED] = {"nothing hung under water", false, 5, true, false, false},
    [SECOND_NOTHING_DRY] = {"nothing hung dry", false, 1, false, false, false},
    [SECOND_NO_SHAKE] = {"no shake at all", false, 3, false, true, false},
    [SECOND_NO_REAL_SHAKE] = {"unhooked, not shaken", false, 3, false, true, false},
    [SECOND_NOT_LIFTED_ONCE] = {"not lifted out once", false, 5, false, false, false},
    [SECOND_NEVER_LIFTED] = {"never lifted out", false, 1, false, true, false},
    [SECOND_MASS_LEFT] = {"mass left on at a tare", true, 6, false, false, false},
    [SECOND_MASSES_SWAPPED] = {"two masses swapped", true, 3, false, false, false},
    [SECOND_MASS_OFF] = {"one mass 50 g off", true, 1, false, true, true},
    [SECOND_BALLAST_SLIPS] = {"ballast slips", false, 15, false, false, false},
    [SECOND_BALLAST_ON_FLOOR] = {"ballast on the floor", false, 1, false, true, false},
    [SECOND_BALLAST_TOO_LIGHT] = {"ballast too light", false, 1, false, true, false},
    [SECOND_ITEM_TOUCHES] = {"item touches, varying", false, 1, false, true, false},
    [SECOND_OTHER_ITEM] = {"another item from trial 3", false, 1, false, true, false},
    [SECOND_MASSES_LIGHT] = {"all masses 2 % light", true, 1, false, true, true},
    [SECOND_SALT] = {"salt in fresh water", false, 1, false, true, true},
    [SECOND_CONSTANT_TOUCH] = {"constant contact", false, 1, false, true, true},
};

const char *second_mistake_name(enum second_mistake mistake) {
    return row[mistake].name;
}

bool second_mistake_is_of_calibration(enum second_mistake mistake) {
    return row[mistake].calibrating;
}

/* ---- what is wrong from the beginning ---- */

static double between(gsl_rng *chance, double low, double high) {
    return gsl_ran_flat(chance, low, high);
}

static double pull_of_ballast_kg(const struct second_tank_law *law) {
    return law->hanger_kg + law->ballast_kg * (1 - law->water_kg_m3 / 11340);
}

static void make_salty(struct second_tank_law *law, gsl_rng *chance) {
    double salt_g_kg = between(chance, salt_g_kg_low, salt_g_kg_high);
    law->water_kg_m3 +=
        up_water_pool_kg_m3(salt_g_kg, law->water_c, 0) - up_water_pool_kg_m3(0, law->water_c, 0);
}

/* The ballast pulls less than the item lifts. */
static void lighten_ballast(struct second_tank_law *law, const struct second_item *item,
                            gsl_rng *chance) {
    double lift_kg = second_item_buoyancy_kg(item, law->water_kg_m3, law->water_c);
    double pull_kg = fmax(0, between(chance, 0.4, 0.95) * lift_kg - law->hanger_kg);
    law->ballast_kg = pull_kg / (1 - law->water_kg_m3 / 11340);
}

static void spoil_tank(struct second_operator *person, struct second_tank_law *law) {
    gsl_rng *chance = person->chance;
    double touch_kg = between(chance, 0.015, 0.12);
    switch ((int)person->mistake) {
    case SECOND_BALLAST_ON_FLOOR:
        law->floor_kg = between(chance, 0.1, 0.9) * pull_of_ballast_kg(law);
        break;
    case SECOND_BALLAST_TOO_LIGHT:
        lighten_ballast(law, &person->truth->item, chance);
        break;
    case SECOND_ITEM_TOUCHES:
        law->touch_kg = touch_kg;
        law->touch_varies = 0.3 * pow(0.01, gsl_rng_uniform(chance));
        break;
    case SECOND_CONSTANT_TOUCH:
        law->touch_kg = touch_kg;
        break;
    case SECOND_SALT:
        make_salty(law, chance);
        break;
    }
}

void second_mistake_begin(struct second_operator *person) {
    const struct row *mine = &row[person->mistake];
    gsl_rng *chance = person->chance;
    person->at = 1 + (unsigned)gsl_rng_uniform_int(chance, mine->at_most);
    person->from_then_on = mine->goes_on;
    if (mine->may_go_on)
        person->from_then_on = gsl_rng_uniform(chance) < 0.5;
    unsigned first = (unsigned)gsl_rng_uniform_int(chance, 3);
    person->swapped_kg[0] = second_masses_kg[first];
    person->swapped_kg[1] = second_masses_kg[first + 1];
    person->amount = between(chance, 0.4, 0.9); /* of the ballast, what a slip leaves */
    if (person->mistake == SECOND_MASS_OFF)
        person->amount = gsl_rng_uniform(chance) < 0.5 ? -0.05 : 0.05;
    if (person->mistake == SECOND_OTHER_ITEM)
        person->at = 3;
    person->sound = person->tank->law;
    spoil_tank(person, &person->tank->law);
}

/* ---- what goes wrong at a step ---- */

/* Whether this step is one at which the mistake is made. Asked once a step where it can be made. */
bool second_mistake_now(struct second_operator *person, enum second_mistake mistake) {
    if (person->mistake != mistake || person->mended)
        return false;
    person->occasions++;
    bool now =
        person->occasions == person->at || (person->from_then_on && person->occasions > person->at);
    if (now)
        person->begun = person->spoiling = true;
    return now;
}

/* The true mass of what is hung where so much is asked for. */
double second_mistake_mass_kg(struct second_operator *person, double asked_kg) {
    double share = 1 + person->truth->masses_share, mass_kg = fabs(asked_kg), off_kg = 0;
    if (second_mistake_now(person, SECOND_MASSES_LIGHT))
        share -= 0.02;
    if (mass_kg == person->swapped_kg[0] && second_mistake_now(person, SECOND_MASSES_SWAPPED))
        mass_kg = person->swapped_kg[1];
    else if (mass_kg == person->swapped_kg[1] && person->mistake == SECOND_MASSES_SWAPPED &&
             person->begun && !person->mended && person->occasions++ == person->at)
        mass_kg = person->swapped_kg[0];
    else if (mass_kg == person->swapped_kg[1] && second_mistake_now(person, SECOND_MASS_OFF))
        off_kg = person->amount;
    return mass_kg * share + off_kg;
}

/* ---- asked about it ---- */

/* The trials that a question names, "trial 3" or "trials 2 and 4", as bits; none: 0. */
static uint64_t trials_named(const char *text) {
    const char *at = strstr(text, "rial");
    uint64_t named = 0;
    if (!at)
        return 0;
    for (at += strcspn(at, "0123456789."); *at >= '0' && *at <= '9';) {
        char *end;
        unsigned long number = strtoul(at, &end, 10);
        if (number >= 1 && number <= 64)
            named |= (uint64_t)1 << (number - 1);
        at = end + strspn(end, " ,and");
    }
    return named;
}

/* What nobody can see is looked for in vain once; then the mass in doubt is put aside, and what is
   left is beyond help at this tank. */
static void doubt(struct second_operator *person) {
    person->doubts++;
    if (person->mistake == SECOND_MASS_OFF && person->doubts > 1)
        person->mended = true;
}

static bool look_for_it(struct second_operator *person) {
    if (person->mended && person->moved_since)
        return false;
    person->noticed = true;
    if (row[person->mistake].unseen || person->too_late) {
        doubt(person);
        return true;
    }
    if (!person->mended)
        person->tank->law = person->sound;
    person->mended = true;
    person->moved_since = false;
    return true;
}

/* A question that names trials is about these alone; any other is about what is being done, and
   makes him look. */
bool second_mistake_questioned(struct second_operator *person, const char *text) {
    uint64_t named = trials_named(text);
    if (!person->begun)
        return false;
    if (named == 0)
        return look_for_it(person);
    person->asked |= named & person->spoilt;
    if (person->spoilt && (person->spoilt & ~person->asked) == 0)
        person->noticed = true;
    return (named & person->spoilt) != 0;
}
