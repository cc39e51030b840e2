/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The GPIO lines at the bench: panel.c takes and gives them back, indicators.c sets lamps, buzzer
   and shaker, shaker.c guards the relay. */
#pragma once

#include <poll.h>

#include "bench/procedure.h"
#include "gpio.h"
#include "operator/panel.h"

enum { PANEL_POLLED = 2 };

struct shaker;

struct up_panel {
    const struct up_rig *rig;
    struct gpio_line *pedal, *level, *buzzer, *lamp[UP_LAMPS];
    struct shaker *shaker;
    /* what comes in */
    struct up_pedal press;
    bool answers;            /* the pedal is in use */
    struct up_contact water; /* its level */
    bool water_is_low;
    const char *lost; /* a fault to report, of a line that went away; then NULL */
    /* what goes out */
    enum up_lamp state;
    enum up_turn turn; /* at your turn */
    enum up_sound sound;
    double state_s, sound_s; /* since when */
    double fault_s, fault_until_s;
    bool fault_stands;          /* and is shown until it does not */
    bool dark;                  /* neither lamp nor sound: they are tried by hand */
    bool lit[UP_LAMPS], sounds; /* as the outputs are set */
};

/* Entries for poll, as many as PANEL_POLLED; a descriptor of -1 where there is nothing. */
void panel_entries(const struct up_panel *panel, struct pollfd *entry);
/* How long poll may wait before something is due; never more than `most_ms`. */
int panel_wait_ms(const struct up_panel *panel, double now_s, int most_ms);

/* From now on the pedal is listened to; what it did before is forgotten. */
void panel_listen(struct up_panel *panel);
/* The next word of the pedal, edges in their order, then its level. */
enum up_pedal_word panel_pedal_word(struct up_panel *panel);
/* True where the water's level has changed: see water_is_low. */
bool panel_water_changed(struct up_panel *panel);

/* indicators.c */
void indicator_begin(struct up_panel *panel);
/* `class`: what a quick weighing has come to by then; with it the item is taken off. */
void indicator_event(struct up_panel *panel, const struct up_event *event, enum up_class class);
void indicator_answered(struct up_panel *panel);
void indicator_waiting(struct up_panel *panel); /* for waits that are not the operator's turn */
void indicator_sound(struct up_panel *panel, enum up_sound sound);
/* A fault stands until it is cleared. */
void indicator_fault(struct up_panel *panel, bool stands);
/* Sets the outputs as they should be at that time. */
void indicator_tick(struct up_panel *panel, double now_s);
double indicator_due_s(const struct up_panel *panel, double now_s);
/* One state on its own lamp and on the one for all, until the next one. */
void indicator_show(struct up_panel *panel, enum up_lamp state, double now_s);
enum up_lamp lamp_of(enum up_class class);

/* shaker.c: a process of its own holds the relay. It is off after limit_s, on demand, when this
   process ends in any way, and when it is stopped or stuck. NULL, with errno, where the relay's
   line cannot be had. */
struct shaker *shaker_start(const char *chip, unsigned offset, bool active_low, double limit_s);
/* False where the guard is gone: nothing shakes then. */
bool shaker_set(struct shaker *shaker, bool on);
void shaker_stop(struct shaker *shaker);
