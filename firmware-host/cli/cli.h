/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command line: one table of commands, from which the help is printed too. */
#pragma once

#include "catalogue/kind.h"
#include "report/report.h"
#include "session/session.h"

enum { OPTIONS_GIVEN_MAX = 128 };

struct option_text {
    const char *name;     /* without the dashes */
    const char *argument; /* NULL: a switch */
    const char *help;
};

struct given {
    const char *name, *value;
};

/* One call of the program: what was typed after the command's name, and what becomes of it. */
struct call {
    struct given option[OPTIONS_GIVEN_MAX];
    int options;
    const char *word[16];
    int words;
    enum up_status status;          /* of what went well: done, or undecided */
    struct up_catalogue *catalogue; /* closed when the command has ended */
    struct up_failure *failure;
};

/* Fills the call's failure and returns false. */
#define refuse(call, ...) up_fail((call)->failure, UP_STATUS_WRONG_INPUT, __VA_ARGS__)

enum help_group { HELP_AT_THE_TANK, HELP_CATALOGUE, HELP_TOOLS, HELP_GROUPS };

struct command {
    const char *name;
    const char *words; /* what may follow besides options; "" for nothing */
    const char *summary;
    const struct option_text *options; /* ended by a NULL name */
    bool (*run)(struct call *call);
    enum help_group group;
    const char
        *examples; /* a line each, without "upthrust "; tests/cli/help_test.sh asks for one */
};

extern const struct command commands[];
extern const int command_count;

/* The last value given to an option; NULL where it was not. */
const char *option_value(const struct call *call, const char *name);
bool option_given(const struct call *call, const char *name);
/* A number between two bounds; *value is left alone where the option was not given. */
bool option_number(struct call *call, const char *name, double low, double high, double *value);
bool option_whole(struct call *call, const char *name, int low, int high, int *value);
/* A name; left alone where the option was not given. */
bool option_text_value(struct call *call, const char *name, char to[UP_NAME_SIZE]);
/* One of the words, which end with NULL; *value is NULL where the option was not given. */
bool option_word(struct call *call, const char *name, const char *const *words, const char **value);
/* "0.5,1,2": at most `room` numbers; *count is 0 where the option was not given. */
bool option_list(struct call *call, const char *name, double *values, int room, int *count);

const char *catalogue_directory(const struct call *call);
/* Opens what --catalogue names; where there is none yet, the failure shows how to begin. */
bool open_catalogue(struct call *call, enum up_catalogue_mode mode);

/* The first word says what a command does: "add", "list"; run_verb opens the catalogue. */
struct verb {
    const char *name;
    enum up_catalogue_mode mode;
    bool (*run)(struct call *call);
};
bool run_verb(const char *command, const struct verb *verbs, size_t count, struct call *call);

/* A word of a command to be typed, quoted for a shell where it needs it; the caller's. */
char *quoted(const char *text);

/* Which items: --kind, --class, ... and texts, the words behind the first ones. `waters` has room
   for OPTIONS_GIVEN_MAX and lives as long as the choice. */
struct up_choice;
bool choice_asked(struct call *call, int words_before, const char **waters,
                  struct up_choice *choice);

/* How results are shown: --units, and what standard output bears. */
bool style_asked(struct call *call, struct up_style *style);

/* As it was started, argv[0]. A path then begins each command printed to be typed next, quoted for
   a shell; one that no terminal shows as it is, or a bare name, becomes "upthrust". */
void program_started_by(const char *path);
const char *program_name(void);

/* Of a terminal; 0 where there is none. */
int terminal_columns(int descriptor);

/* With --label DIR: the item's label, drawn there (command_label.c). */
void draw_label(const struct call *call, struct up_catalogue *catalogue, const struct up_item *item,
                const struct up_style *style);

/* On a terminal, one line of how far long work is; 0: it is done, and the line goes. */
void progress_show(const char *doing, unsigned long done);

/* "note: " and the text, on standard error; for whoever reports to a caller. */
void print_note(void *context, const char *text);

/* Prints a JSON document and its newline on stdout; takes the reference. */
void print_json(json_t *json);

/* --material's expansion in both; left alone where it was not given. */
bool take_material(struct call *call, double *expansion_per_k, double *u_expansion_per_k);

/* Waters asked for by --water, each "NAME[,key=value...]"; the two default ones where none is. */
bool waters_asked(struct call *call, struct up_water *water, unsigned *count);

/* Whether somebody sits at a keyboard who can be asked. */
bool person_is_there(const struct call *call);
/* One line typed by a person; false at the end of the input. */
enum { ANSWER_SIZE = 80 };
bool ask_person(const char *question, char answer[ANSWER_SIZE]);

/* Asks for a kit and writes it to a file that does not exist yet (kit_guide.c). */
bool ask_kit(const char *file, struct up_catalogue *catalogue, struct up_failure *failure);

/* --holds-gas for an item of this kind. Where neither its kind nor an option says so, a person is
   asked; otherwise the failure names the option. */
bool take_holds_gas(struct call *call, struct up_item *item);

/* --pressure-bar and --gas for an item of a kind that is filled; a person is asked for them. */
bool take_filling(struct call *call, bool by_keys, const struct up_item *item,
                  struct up_filling *filling);

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
bool hear_stream(struct call *call, const struct up_rig *rig, double seconds,
                 struct up_listening *listening);
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
/* Names that are not retired, one a line; of the catalogue in a directory, NULL for the usual. */
bool print_item_names(const char *directory, struct up_failure *failure);

extern const char *const help_group_titles[HELP_GROUPS];

/* The results of a queue (measure_afternoon.c). */
struct afternoon;

/* What the catalogue holds of the runs of a queue; NULL where it cannot be read. */
struct afternoon *afternoon_load(struct up_catalogue *catalogue, const char *queue_id,
                                 struct up_failure *failure);
bool afternoon_is_empty(const struct afternoon *afternoon);
void afternoon_free(struct afternoon *afternoon);
void afternoon_print(const struct afternoon *afternoon, const struct up_style *style, FILE *stream);
/* Into queues/ of the catalogue. Both paths are the caller's; *aside NULL: nothing was put aside.
 */
bool afternoon_write(struct afternoon *afternoon, char **csv, char **aside,
                     struct up_failure *failure);

/* All items (command_show.c), for `item list`. */
bool list_items(struct call *call);

/* A calibration in words, on stdout (command_calibration.c). */
void print_calibration(const struct up_calibration *calibration, const struct up_style *style);
/* What it is good for, and what to do next. */
void print_calibration_verdict(const struct up_calibration *calibration,
                               const struct up_catalogue *catalogue, const struct up_style *style);

/* The commands and their options (command_*.c). */
#define COMMAND(name)                                                                              \
    bool command_##name(struct call *call);                                                        \
    extern const struct option_text options_##name[];
COMMAND(demo)
COMMAND(calibrate)
COMMAND(calibration)
COMMAND(measure)
COMMAND(ports)
COMMAND(listen)
COMMAND(rig_check)
COMMAND(setup)
COMMAND(water)
COMMAND(item)
COMMAND(body)
COMMAND(kind)
COMMAND(show)
COMMAND(explain)
COMMAND(decide)
COMMAND(kit)
COMMAND(label)
COMMAND(report)
COMMAND(page)
COMMAND(plot)
COMMAND(export)
COMMAND(import)
COMMAND(merge)
COMMAND(check_catalogue)
COMMAND(redact)
COMMAND(backup)
COMMAND(private)
COMMAND(bench)
/* `calibration adopt` (command_calibrate.c). */
bool adopt_calibration(struct call *call);

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
