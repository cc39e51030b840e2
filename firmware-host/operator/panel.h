/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * GPIO lines at the bench, for hands that are wet: a pedal to answer with, lamps and a buzzer that
 * show whose turn it is, a float switch for the water's level, a relay for a shaker. The first two
 * parts are pure and know no clock; times are in seconds of any one clock that never runs back.
 */
#pragma once

#include <signal.h>

#include "bench/procedure.h"
#include "upthrust/rig.h"
#include "upthrust/weighing.h"

/* ---- contacts bounce ---- */

/* A level counts once it has stood for debounce_s; it then holds from when it came. */
struct up_contact {
    double debounce_s;
    bool level;            /* the one that counts */
    bool raw;              /* the one that was seen last, */
    double raw_s, since_s; /* since when; and the one that counts, since when */
};

void up_contact_begin(struct up_contact *contact, double debounce_s, double time_s, bool level);
/* The level after an edge, or as it was read, at that time; true where the level that counts has
   changed. An edge may be lost, even the last one: reading the level now and then replaces it. */
bool up_contact_push(struct up_contact *contact, double time_s, bool level);

/* ---- the pedal ---- */

enum up_pedal_word {
    UP_PEDAL_NOTHING,
    UP_PEDAL_SHORT, /* once no second press has followed */
    UP_PEDAL_LONG,  /* once it is let go: one that stays down is no word */
    UP_PEDAL_DOUBLE,
    UP_PEDAL_HELD,  /* long enough to be long: for the buzzer */
    UP_PEDAL_STUCK, /* down for longer than a foot stays; once */
    UP_PEDAL_FREED,
};

struct up_pedal {
    struct up_pedal_rule rule;
    struct up_contact contact;
    double down_s, up_s; /* when the latest press began and ended */
    bool spent;          /* the press under way gives no more words */
    bool held, stuck;    /* and reported */
    bool waits;          /* a short press; another may follow */
    double asked_s;      /* presses from before do not answer; infinite: nothing is asked */
};

void up_pedal_begin(struct up_pedal *pedal, const struct up_pedal_rule *rule, double time_s,
                    bool down);
/* A question was shown, or none is open any more (time infinite). A press from before it, or so
   soon after it that it cannot have been read, is no answer; two that it came between still count
   as two. */
void up_pedal_asks(struct up_pedal *pedal, double time_s);
/* The level at that time; to be called again with the same until it gives nothing. */
enum up_pedal_word up_pedal_push(struct up_pedal *pedal, double time_s, bool down);
/* When it should be looked at again, even though nothing moves; infinite where never. */
double up_pedal_due_s(const struct up_pedal *pedal);

/* ---- lamps and buzzer ---- */

/* What is to be done at your turn. */
enum up_turn {
    UP_TURN_HANG,
    UP_TURN_TAKE_OFF,
    UP_TURN_SHAKE,
    UP_TURN_ANSWER,
    UP_TURN_BARE, /* all off, the ballast too */
    UP_TURNS
};
enum up_turn up_turn_of(enum up_action action);

/*
 * Each state has a rhythm of its own, so that colour is never the only sign and one lamp is enough:
 * settling: slow, even; waiting: a spark now and then; fault: fast; positive: short, long (it
 * rises); negative: long, short (it falls); neutral: long, long (it stays); undecided: three short
 * ones. Your turn: steady to hang something, with one wink to take it off, with two to shake, with
 * three to answer a question, with four to take all off, the ballast too. Choices of ours. `turn`
 * counts at your turn only.
 */
bool up_lamp_is_lit(enum up_lamp lamp, enum up_turn turn, double since_s);
/* How long until it changes; infinite for a steady one. */
double up_lamp_changes_s(enum up_lamp lamp, enum up_turn turn, double since_s);

enum up_sound {
    UP_SOUND_NONE,
    UP_SOUND_YOUR_TURN, /* one short */
    UP_SOUND_TAKEN,     /* a tick */
    UP_SOUND_HELD,      /* two ticks */
    UP_SOUND_STOPPING,  /* three short */
    UP_SOUND_FAULT,     /* three long */
    UP_SOUND_RESULT,    /* one long */
};
bool up_sound_is_on(enum up_sound sound, double since_s);
double up_sound_changes_s(enum up_sound sound, double since_s);

/* ---- the GPIO lines themselves ---- */

struct up_panel;

/* Takes all GPIO lines that the rig names; *panel is NULL where it names none.
   UP_STATUS_WRONG_INPUT for a line that does not exist or is named twice, UP_STATUS_UNABLE for one
   that cannot be had. The rig must outlive it. Call it before files and ports are opened: the
   shaker's relay gets a process of its own, which opens it should this one die. */
bool up_panel_open(const struct up_rig *rig, struct up_panel **panel, struct up_failure *failure);
/* All outputs off, all GPIO lines given back. */
void up_panel_close(struct up_panel *panel);

/* Shows a class for the rig's result_s, or until the pedal is pressed or a signal comes. */
void up_panel_show_class(struct up_panel *panel, enum up_class class,
                         const volatile sig_atomic_t *signalled);
