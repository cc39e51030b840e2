/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What `upthrust setup` has asked and heard so far. */
#pragma once

#include <pthread.h>

#include "cli.h"
#include "session/probe.h"

/* The questions, in the order of their table. */
enum asked {
    ASKED_ID,
    ASKED_PORT,
    ASKED_UNIT,
    ASKED_STEP,
    ASKED_CAPACITY,
    ASKED_THERMOMETER,
    ASKED_WATER,
    ASKED_SEA,
    ASKED_U_SEA,
    ASKED_POOL,
    ASKED_AREA,
    ASKED_LINE,
    ASKED_ITEM_M,
    ASKED_WATER_M,
    ASKED_DEPTH,
    ASKED_BALLAST,
    ASKED_MASSES,
    ASKED_SHARE,
    ASKED_BOTTLE_STEP,
    ASKED_KNOWN,
    ASKED_KNOWN_REL,
    ASKED_SHOWN,
    ASKED_LIGHTEST,
    ASKED_SIMULATED,
    ASKED_STEP_UNSEEN,
    QUESTIONS
};

enum said { SAID_STOP, SAID_BACK, SAID_ANSWER };

struct setup {
    const char *file;
    struct up_style style; /* of what is shown beside an answer; the answers are metric */
    char answer[QUESTIONS][ANSWER_SIZE]; /* as given; kept as what Enter takes the next time */
    bool known[QUESTIONS];
    char *section[5]; /* line, sensor, tank, masses, rig: "key = value" with comments */
    bool typed, heard, step_unseen;
    struct up_port port;
    struct up_port *ports; /* that are there */
    size_t ports_count;
    struct up_probe *probe; /* the best so far, of the thread while it listens */
    double seconds;
    pthread_t thread;
    bool listening;
    volatile sig_atomic_t last_round, leave; /* for the thread: end with this round; at once */
};

/* What was typed, or what is usual (NULL: there must be an answer; "": it may be left out). */
enum said setup_ask(const char *prompt, const char *usual, char answer[ANSWER_SIZE]);

/* setup_wire.c: listening begins with the port that was named, and goes on meanwhile. Always true.
 */
bool setup_port(struct setup *setup);
/* Until something was found that can be read, or the person stops or goes back to the port. */
enum said setup_hear(struct setup *setup);
