/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command line: one table of commands, from which the help is printed too. */
#ifndef UPTHRUST_CLI_H
#define UPTHRUST_CLI_H

#include <jansson.h>
#include <signal.h>
#include <stdbool.h>
#include <stddef.h>

#include "catalogue/kind.h"
#include "catalogue/records.h"
#include "report/report.h"
#include "session/session.h"
#include "upthrust/failure.h"
#include "upthrust/result.h"
#include "upthrust/rig.h"

enum { OPTIONS_GIVEN_MAX = 128 };

struct option_text {
    const char *name;     /* without the dashes */
    const char *argument; /* NULL: a switch */
    const char *help;
};

struct given {
    const char *name, *value;
};

/* What was typed after the command's name. */
struct arguments {
    struct given option[OPTIONS_GIVEN_MAX];
    int options;
    const char *word[16];
    int words;
};

struct command {
    const char *name;
    const char *words; /* what may follow besides options; "" for nothing */
    const char *summary;
    const struct option_text *options; /* ended by a NULL name */
    enum up_status (*run)(const struct arguments *arguments, struct up_failure *failure);
};

extern const struct command commands[];
extern const int command_count;

/* The last value given to an option; NULL where it was not. */
const char *option_value(const struct arguments *arguments, const char *name);
bool option_given(const struct arguments *arguments, const char *name);
/* A number between two bounds; *value is left alone where the option was not given. */
bool option_number(const struct arguments *arguments, const char *name, double low, double high,
                   double *value, struct up_failure *failure);
bool option_whole(const struct arguments *arguments, const char *name, int low, int high,
                  int *value, struct up_failure *failure);
/* A name; left alone where the option was not given. */
bool option_text_value(const struct arguments *arguments, const char *name, char to[UP_NAME_SIZE],
                       struct up_failure *failure);
/* "0.5,1,2": at most `room` numbers; *count is 0 where the option was not given. */
bool option_list(const struct arguments *arguments, const char *name, double *values, int room,
                 int *count, struct up_failure *failure);

const char *catalogue_directory(const struct arguments *arguments);
/* Opens what --catalogue names; where there is none yet, the failure shows how to begin. */
bool open_catalogue(const struct arguments *arguments, enum up_catalogue_mode mode,
                    struct up_catalogue **catalogue, struct up_failure *failure);

/* What a command does is its first word: "add", "list", ...; run_verb opens the catalogue for it.
 */
struct verb {
    const char *name;
    enum up_catalogue_mode mode;
    enum up_status (*run)(const struct arguments *arguments, struct up_catalogue *catalogue,
                          struct up_failure *failure);
};
enum up_status run_verb(const char *command, const struct verb *verbs, size_t count,
                        const struct arguments *arguments, struct up_failure *failure);

/* How results are shown: --units, and what standard output bears. */
bool style_asked(const struct arguments *arguments, struct up_style *style,
                 struct up_failure *failure);

/* Of a terminal; 0 where there is none. */
int terminal_columns(int descriptor);

/* "note: " and the text, on standard error; for whoever reports to a caller. */
void print_note(void *context, const char *text);

/* Prints a JSON document and its newline on stdout; takes the reference. */
void print_json(json_t *json);

/* Waters asked for by --water, each "NAME[,key=value...]"; the two default ones where none is. */
/* --material's expansion in both; left alone where it was not given. */
bool take_material(const struct arguments *arguments, double *expansion_per_k,
                   double *u_expansion_per_k, struct up_failure *failure);

bool waters_asked(const struct arguments *arguments, struct up_water *water, unsigned *count,
                  struct up_failure *failure);

/* Whether somebody sits at a keyboard who can be asked. */
bool person_is_there(const struct arguments *arguments);
/* One line typed by a person; false at the end of the input. */
enum { ANSWER_SIZE = 80 };
bool ask_person(const char *question, char answer[ANSWER_SIZE]);

/* --holds-gas for an item of this kind. Where its kind does not say and nothing was told, a person
   is asked; else the failure names the option. */
bool take_holds_gas(const struct arguments *arguments, struct up_item *item,
                    struct up_failure *failure);

/* --pressure-bar and --gas for an item of a kind that is filled; a person is asked for them. */
bool take_filling(const struct arguments *arguments, bool by_keys, const struct up_item *item,
                  struct up_filling *filling, struct up_failure *failure);

/* What to beware of (cautions.c): all of it for rig-check, help and the man page, ended by NULL;
   and what a session of `command` shows, "calibrate" or "measure". */
extern const char *const all_cautions[];
const struct up_cautions *cautions_of(const char *command);

/* Set by SIGINT, SIGTERM and SIGHUP once catch_signals was called. */
extern volatile sig_atomic_t signalled;
void catch_signals(void);
/* Ends the program as the signal would have, if one came. */
void die_of_signal(void);

/* Hears the rig's port for --seconds (else `seconds`), or all of --replay (command_listen.c). */
struct up_listening;
bool hear_stream(const struct arguments *arguments, const struct up_rig *rig, double seconds,
                 struct up_listening *listening, struct up_failure *failure);
/* False where hardly a line fits the rig's layout. */
bool judge_listening(const struct up_listening *listening, const char *what,
                     struct up_failure *failure);

/* Help, man page and shell completion, all from the table of commands (help.c, print.c). */
const struct command *find_command(const char *name);
/* The command that a mistyped name is nearest to; NULL where none is near. */
const struct command *nearest_command(const char *name);
void print_help(FILE *stream);
void print_rig_page(FILE *stream);
void print_command_help(const struct command *command, FILE *stream);
void print_man_page(FILE *stream);
void print_bash_completion(FILE *stream);
/* Of the catalogue in a directory, NULL for the usual one: names that are not retired, a line each.
 */
bool print_item_names(const char *directory, struct up_failure *failure);

/* Help for a command beside its row of the table (help_texts.c). A command without an
   entry stands among the tools. */
enum help_group { HELP_AT_THE_TANK, HELP_CATALOGUE, HELP_TOOLS, HELP_GROUPS };
struct help_text {
    const char *command;
    enum help_group group;
    const char *examples; /* a line each, without "upthrust " */
};
const struct help_text *help_text_of(const struct command *command);
const char *help_group_title(enum help_group group);

/* All items (command_show.c), for `item list`. */
enum up_status list_items(const struct arguments *arguments, struct up_catalogue *catalogue,
                          struct up_failure *failure);

/* A calibration in words, on stdout (command_calibration.c). */
void print_calibration(const struct up_calibration *calibration);
/* What it is good for, and what to do next. */
void print_calibration_verdict(const struct up_calibration *calibration,
                               const struct up_style *style);

/* The commands (command_*.c). */
enum up_status command_demo(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_calibrate(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_calibration(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_measure(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_ports(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_listen(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_rig_check(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_setup(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_water(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_item(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_body(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_kind(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_show(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_explain(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_decide(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_kit(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_plot(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_export(const struct arguments *arguments, struct up_failure *failure);
/* `calibration adopt` (command_calibrate.c). */
enum up_status adopt_calibration(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_import(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_merge(const struct arguments *arguments, struct up_failure *failure);
enum up_status command_check_catalogue(const struct arguments *arguments,
                                       struct up_failure *failure);

extern const struct option_text options_demo[], options_calibrate[], options_calibration[],
    options_measure[], options_ports[], options_listen[], options_rig_check[], options_setup[],
    options_water[], options_item[], options_body[], options_kind[], options_show[],
    options_explain[], options_decide[], options_kit[], options_plot[], options_export[],
    options_import[], options_merge[], options_check_catalogue[];

#define OPTION_CATALOGUE                                                                           \
    { "catalogue", "DIR", "the catalogue (default: $UPTHRUST_CATALOGUE, else ./catalogue)" }
#define OPTION_JSON                                                                                \
    { "json", NULL, "one JSON document instead of words" }
#define OPTION_UNITS                                                                               \
    { "units", "metric|imperial", "for people (default metric); JSON stays metric" }
#define OPTION_RIG                                                                                 \
    { "rig", "FILE", "the rig file: what hangs where and how readings look" }
#define OPTION_PORT                                                                                \
    { "port", "PATH", "instead of the path in the rig file" }
#define OPTION_TYPED                                                                               \
    { "typed", NULL, "no wire: type what a hanging scale shows" }
#define OPTION_OPERATOR                                                                            \
    {                                                                                              \
        "operator", "keys|pedal|json",                                                             \
            "who answers: a person at the keys, a foot on a pedal, or a program (JSON Lines)"      \
    }
#define OPTION_PLAIN                                                                               \
    { "plain", NULL, "plain lines instead of the live screen" }
#define OPTION_AIR_TEMP                                                                            \
    { "air-temp-c", "T", "over the tank, degrees C (default: as the rig file says)" }
#define OPTION_END                                                                                 \
    { NULL, NULL, NULL }

#endif
