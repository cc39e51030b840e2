/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The wire of the scale for which a rig file is written: a thread listens to it while the questions
   are answered. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "setup.h"
#include "text/text.h"

enum { RATES_MAX = 12 }; /* that are tried in turn */

/* Round after round, until something is found that was seen to change, or the questions are over.
   What was found is kept. */
static void *listen_to_port(void *context) {
    struct setup *setup = context;
    struct up_probe *probe = up_allocate(1, sizeof *probe);
    do {
        *probe = (struct up_probe){.port = setup->port};
        up_probe_port(probe, setup->seconds, &setup->leave);
        if (probe->found || !setup->probe->found) {
            *setup->probe = *probe;
        }
    } while (setup->last_round == 0 && setup->leave == 0 && usleep(200000) == 0 &&
             !(setup->probe->found && setup->probe->guess.step_seen));
    free(probe);
    return NULL;
}

static void begin_listening(struct setup *setup, bool once) {
    free(setup->probe);
    setup->probe = up_allocate(1, sizeof *setup->probe);
    setup->leave = 0;
    setup->last_round = once;
    setup->listening = pthread_create(&setup->thread, NULL, listen_to_port, setup) == 0;
    if (!setup->listening) {
        setup->last_round = 1;
        listen_to_port(setup);
    }
}

/* The round under way is heard to its end, or left. */
static void end_listening(struct setup *setup, bool at_once) {
    setup->leave = at_once;
    setup->last_round = 1;
    if (setup->listening) {
        pthread_join(setup->thread, NULL);
        setup->listening = false;
    }
}

static void say_listening(const struct setup *setup) {
    UP_FREED char *text = up_text_format(
        "Listening to %s while you answer: %g s at each usual speed of a serial port, up to %d "
        "speeds in turn, until its lines can be read. Leave the scale on, with something light on "
        "its hook, and press on the hook for a moment now and then: so its smallest step is seen.",
        setup->port.name, setup->seconds, RATES_MAX);
    UP_FREED char *safe = up_text_for_terminal(text);
    up_text_paragraph(stdout, "", safe);
}

bool setup_port(struct setup *setup) {
    const char *path = setup->answer[ASKED_PORT];
    end_listening(setup, true);
    setup->heard = setup->step_unseen = false;
    setup->typed = strcmp(path, "typed") == 0;
    if (setup->typed) {
        return true;
    }
    if (access(path, F_OK) != 0) {
        up_text_print(stdout, "%s is not there: plug the scale in, or name its port\n", path);
        setup->answer[ASKED_PORT][0] = '\0';
        return false;
    }
    setup->port = (struct up_port){.usb_vendor = -1, .usb_product = -1};
    snprintf(setup->port.name, sizeof setup->port.name, "%s", path);
    for (size_t i = 0; i < setup->ports_count; i++) {
        if (strcmp(setup->ports[i].name, path) == 0) {
            setup->port = setup->ports[i];
        }
    }
    begin_listening(setup, false);
    say_listening(setup);
    return true;
}

/* In the manuals of many makers they ask for a weight (common practice, no source). None that
   zeroes, tares or switches off is ever sent. */
static const char *const usual_polls[][2] = {
    {"W", "cr"}, {"P", "cr"}, {"SI\\r", "lf"}, {"\\eP\\r", "lf"}, {NULL, NULL}};

/* One word with each of the usual ends, or all the usual words. */
static void try_polls(struct setup *setup, const char *word) {
    const char *const own[][2] = {{word, "lf"}, {word, "cr"}, {word, "none"}, {NULL, NULL}};
    const char *const(*poll)[2] = word[0] != '\0' ? own : usual_polls;
    for (; (*poll)[0] != NULL && !setup->probe->found && signalled == 0; poll++) {
        up_text_print(stdout, "Sending %s (%s) ...\n", (*poll)[0], (*poll)[1]);
        fflush(stdout);
        *setup->probe = (struct up_probe){.port = setup->port};
        if (!up_probe_ask_with(setup->probe, (*poll)[0], (*poll)[1], &setup->probe->failure)) {
            return;
        }
        up_probe_port(setup->probe, setup->seconds, &signalled);
    }
}

static void wait_for_scale(struct setup *setup) {
    putchar('\n');
    UP_FREED char *text =
        up_text_format("Listening to %s for up to %.0f s: press on the hook, then let go ...",
                       setup->port.name, setup->seconds * RATES_MAX);
    up_text_paragraph(stdout, "", text);
    fflush(stdout);
    end_listening(setup, false);
}

enum said setup_hear(struct setup *setup) {
    char answer[ANSWER_SIZE];
    wait_for_scale(setup);
    while (!setup->probe->found) {
        putchar('\n');
        up_text_paragraph(stdout, "", setup->probe->failure.text);
        up_text_paragraph(
            stdout, "",
            "Check the scale and its cable. Some scales send only when asked: type ask "
            "to try the usual words (W, P, SI), or the word that its manual names.");
        enum said said =
            setup_ask("Answer [Enter: listen again, back: another port, q: stop]", NULL, answer);
        if (said != SAID_ANSWER) {
            setup->known[ASKED_PORT] = false;
            return said;
        }
        if (answer[0] != '\0') {
            try_polls(setup, strcmp(answer, "ask") == 0 ? "" : answer);
            continue;
        }
        begin_listening(setup, true);
        wait_for_scale(setup);
    }
    putchar('\n');
    up_text_print(stdout, "Heard on %s: %s\n", setup->port.name, setup->probe->guess.words);
    char *sensor = strstr(setup->probe->guess.line_section, "\n[sensor]");
    setup->heard = true;
    setup->step_unseen = sensor != NULL && !setup->probe->guess.step_seen;
    if (setup->step_unseen) { /* an unseen one would make results look surer than they are */
        *sensor = '\0';
    }
    return SAID_ANSWER;
}
