/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "operator/panel.h"

/* On, off, on, ... in seconds, up to the first zero. */
enum { BEATS_MAX = 8 };
#define SHORT  0.2
#define LONG   0.9
#define GAP    0.3
#define PAUSE  1.5
#define STEADY 1.3
#define WINK   0.2

static const double rhythms[UP_LAMPS][BEATS_MAX] = {
    [UP_LAMP_WAITING] = {0.1, 2.4},
    [UP_LAMP_SETTLING] = {1, 1},
    [UP_LAMP_POSITIVE] = {SHORT, GAP, LONG, PAUSE},
    [UP_LAMP_NEUTRAL] = {LONG, GAP, LONG, PAUSE},
    [UP_LAMP_NEGATIVE] = {LONG, GAP, SHORT, PAUSE},
    [UP_LAMP_UNDECIDED] = {SHORT, GAP, SHORT, GAP, SHORT, PAUSE},
    [UP_LAMP_FAULT] = {0.1, 0.1},
};

/* At your turn. */
static const double turns[UP_TURNS][BEATS_MAX] = {
    [UP_TURN_HANG] = {(double)INFINITY},
    [UP_TURN_TAKE_OFF] = {STEADY, WINK},
    [UP_TURN_SHAKE] = {STEADY, WINK, WINK, WINK},
    [UP_TURN_ANSWER] = {STEADY, WINK, WINK, WINK, WINK, WINK},
    [UP_TURN_BARE] = {STEADY, WINK, WINK, WINK, WINK, WINK, WINK, WINK},
};

static const double tunes[][BEATS_MAX] = {
    [UP_SOUND_NONE] = {0},
    [UP_SOUND_YOUR_TURN] = {0.12},
    [UP_SOUND_TAKEN] = {0.03},
    [UP_SOUND_HELD] = {0.03, 0.09, 0.03},
    [UP_SOUND_STOPPING] = {0.12, 0.12, 0.12, 0.12, 0.12},
    [UP_SOUND_FAULT] = {0.4, 0.2, 0.4, 0.2, 0.4},
    [UP_SOUND_RESULT] = {0.7},
};

enum up_turn up_turn_of(enum up_action action) {
    static const enum up_turn turn[UP_ACTIONS] = {[UP_ACTION_BARE_HOOK] = UP_TURN_BARE,
                                                  [UP_ACTION_EMPTY_IN_AIR] = UP_TURN_TAKE_OFF,
                                                  [UP_ACTION_EMPTY_IN_WATER] = UP_TURN_TAKE_OFF,
                                                  [UP_ACTION_LIFT_OUT] = UP_TURN_TAKE_OFF,
                                                  [UP_ACTION_SHAKE] = UP_TURN_SHAKE,
                                                  [UP_ACTION_CONFIRM] = UP_TURN_ANSWER};
    return turn[action]; /* else something is hung */
}

/* Which beat it is, and how long it still lasts; BEATS_MAX behind the last one. */
static size_t beat_at(const double *beats, double time_s, double *remaining_s) {
    double end_s = 0;
    for (size_t i = 0; i < BEATS_MAX && beats[i] > 0; i++) {
        end_s += beats[i];
        if (time_s < end_s) {
            *remaining_s = end_s - time_s;
            return i;
        }
    }
    *remaining_s = (double)INFINITY;
    return BEATS_MAX;
}

static double round_s(const double *beats) {
    double sum_s = 0;
    for (size_t i = 0; i < BEATS_MAX; i++) {
        sum_s += beats[i];
    }
    return sum_s;
}

static bool lamp_beat(enum up_lamp lamp, enum up_turn turn, double since_s, double *remaining_s) {
    const double *beats = lamp == UP_LAMP_YOUR_TURN ? turns[turn] : rhythms[lamp];
    double round = round_s(beats);
    double time_s = isfinite(round) && round > 0 ? fmod(since_s, round) : since_s;
    size_t beat = beat_at(beats, time_s, remaining_s);
    return beat < BEATS_MAX && beat % 2 == 0;
}

bool up_lamp_is_lit(enum up_lamp lamp, enum up_turn turn, double since_s) {
    double remaining_s = 0;
    return lamp_beat(lamp, turn, since_s, &remaining_s);
}

double up_lamp_changes_s(enum up_lamp lamp, enum up_turn turn, double since_s) {
    double remaining_s = 0;
    (void)lamp_beat(lamp, turn, since_s, &remaining_s);
    return remaining_s;
}

bool up_sound_is_on(enum up_sound sound, double since_s) {
    double remaining_s = 0;
    size_t beat = beat_at(tunes[sound], since_s, &remaining_s);
    return beat < BEATS_MAX && beat % 2 == 0;
}

double up_sound_changes_s(enum up_sound sound, double since_s) {
    double remaining_s = 0;
    (void)beat_at(tunes[sound], since_s, &remaining_s);
    return remaining_s;
}
