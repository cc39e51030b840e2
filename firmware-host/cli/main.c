/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The only place that prints failures and chooses the exit status. */
#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"
#include "text/json.h"
#include "text/text.h"

const struct command commands[] = {
    {"demo", "", "measure invented gear on a simulated tank, beside the true values", options_demo,
     command_demo, HELP_TOOLS, "demo --dir demo\n"},
    {"calibrate", "[--resume RUN]", "calibrate the bench with three or more known masses",
     options_calibrate, command_calibrate, HELP_AT_THE_TANK,
     "calibrate --rig my-rig.ini --masses-g 500,1000,2000,4000 --mass-class M1\n"
     "calibrate --rig my-scale.ini --masses-g 500,1000,2000,5000\n"},
    {"calibration", "list|show|adopt [ID]",
     "the calibrations in the catalogue; adopt one that came from elsewhere", options_calibration,
     command_calibration, HELP_AT_THE_TANK,
     "calibration list\n"
     "calibration show\n"
     "calibration adopt --rig my-rig.ini --masses-g 2000\n"},
    {"measure", "[--resume RUN]", "weigh an item in air and in the tank, trial by trial",
     options_measure, command_measure, HELP_AT_THE_TANK,
     "measure --rig my-rig.ini --item \"My fin\"\n"
     "measure --rig my-rig.ini --item \"My fin\" --water sea,temp_c=18,salinity_g_kg=38\n"
     "measure --rig my-rig.ini --queue stock.txt --trials 4,6,8\n"
     "measure --rig my-rig.ini --quick --queue stock.csv\n"
     "measure --rig my-rig.ini --quick --scan\n"
     "measure --rig my-rig.ini --resume\n"
     "measure --replay 3f2a\n"},
    {"setup", "", "write a rig file step by step: the program asks, and listens to the scale",
     options_setup, command_setup, HELP_AT_THE_TANK, "setup --rig my-rig.ini\n"},
    {"ports", "", "the serial ports, what they send, and a rig file that fits", options_ports,
     command_ports, HELP_AT_THE_TANK,
     "ports\n"
     "ports --listen --port /dev/ttyUSB0 --write my-rig.ini\n"},
    {"listen", "", "describe what a device sends: lines, rate, noise, glitches, plateaus",
     options_listen, command_listen, HELP_AT_THE_TANK,
     "listen --rig my-rig.ini\n"
     "listen --rig my-rig.ini --replay capture.txt --json\n"},
    {"rig-check", "", "try every line and lamp, and check whether the rig weighs well enough",
     options_rig_check, command_rig_check, HELP_AT_THE_TANK,
     "rig-check --rig my-rig.ini\n"
     "rig-check --rig my-rig.ini --no-walk --mass-kg 3.5 --lift-g 900 --length-m 0.5\n"},
    {"water", "", "density of fresh or sea water, with its uncertainty", options_water,
     command_water, HELP_TOOLS,
     "water --temp-c 12\n"
     "water --temp-c 18 --salinity-psu 38 --depth-m 10\n"
     "water --list\n"
     "water --water \"Quarry,temp_c=12,conductivity_ms_cm=5.2\"\n"},
    {"item", "add|edit|rename|retire|restore|list|show|accept [NAME_OR_ID|TEXT]",
     "the gear in the catalogue", options_item, command_item, HELP_CATALOGUE,
     "item add --name \"My fin\" --kind fin --size L\n"
     "item list --water fresh --units imperial\n"
     "item list --kind fin --class positive --sort up\n"
     "item list new strap\n"
     "item rename \"My fin\" \"Old fin\"\n"
     "item retire \"Old fin\"\n"},
    {"body", "add|edit|list|show [NAME_OR_ID]", "reference bodies and how their checks went",
     options_body, command_body, HELP_CATALOGUE,
     "body add --name Steel --mass-g 1000.12 --u-mass-g 0.02 --density-kg-m3 7850 --u-volume-cm3 "
     "0.05\n"
     "body show Steel\n"},
    {"kind", "list|set [NAME]", "settings for kinds of gear, and how well each repeats",
     options_kind, command_kind, HELP_CATALOGUE,
     "kind list\n"
     "kind set fin --tolerance-g 40 --tolerance-pair-g 80\n"},
    {"show", "NAME_OR_ID", "everything known about an item, and its weight in lead", options_show,
     command_show, HELP_CATALOGUE,
     "show \"My fin\"\n"
     "show 3f2a --json\n"},
    {"explain", "[RESULT|NAME_OR_ID]", "how a result came about: every number, budget, decision",
     options_explain, command_explain, HELP_CATALOGUE,
     "explain\n"
     "explain \"My fin\" --water sea\n"},
    {"decide", "", "re-judge stored results with another tolerance, confidence or water",
     options_decide, command_decide, HELP_CATALOGUE,
     "decide --kind fin --tolerance-g 80 --dry-run\n"
     "decide --item \"My fin\" --water sea,temp_c=18\n"},
    {"kit", "new|report|page FILE, example|schema",
     "what weight checks mean for a diver's lead and trim", options_kit, command_kit,
     HELP_CATALOGUE,
     "kit new my-kit.json\n"
     "kit report my-kit.json\n"
     "kit page my-kit.json --to my-dive\n"},
    {"label", "[TEXT]", "cards for the shelf and tags for the hook, as PDF or SVG", options_label,
     command_label, HELP_CATALOGUE,
     "label --item \"My fin\" --to my-fin.pdf\n"
     "label --kind fin --sheet --to fins.pdf\n"},
    {"report", "", "one weighing on paper, as a calibration laboratory hands it out",
     options_report, command_report, HELP_CATALOGUE, "report --run latest --to my-fin.pdf\n"},
    {"page", "[TEXT]", "the catalogue as pages for a browser, which fetch nothing", options_page,
     command_page, HELP_CATALOGUE,
     "page --to shop-page\n"
     "page --kind fin --single --to fins\n"},
    {"plot", "[TEXT]",
     "draw items, calibrations and control charts, or an item or a run, with gnuplot", options_plot,
     command_plot, HELP_CATALOGUE,
     "plot\n"
     "plot --item \"My fin\" --a4\n"
     "plot --kind fin --water sea --dark\n"
     "plot --run latest --rig my-rig.ini\n"},
    {"export", "", "write the catalogue as CSV or JSON for other tools", options_export,
     command_export, HELP_CATALOGUE, "export --format csv --to shared-folder\n"},
    {"import", "FILE|DIR", "import what another catalogue exported as JSON", options_import,
     command_import, HELP_CATALOGUE, "import their-catalogue.json\n"},
    {"merge", "DIR", "add another catalogue's records to this one", options_merge, command_merge,
     HELP_CATALOGUE,
     "merge /media/stick/catalogue --dry-run\n"
     "merge /media/stick/catalogue\n"},
    {"bench", "list|trust|distrust|vouch|new-key|revoke|recall [KEY]",
     "whose records count here: the keys of benches, and trust in them", options_bench,
     command_bench, HELP_CATALOGUE,
     "bench list\n"
     "bench trust 3f2a1b00 --as bench --name \"the club\"\n"
     "bench recall --from 100 --to 180 --reason \"wrong masses\"\n"},
    {"check-catalogue", "",
     "check that every record is what was stored; leave one out, or take it back",
     options_check_catalogue, command_check_catalogue, HELP_CATALOGUE,
     "check-catalogue\n"
     "check-catalogue --set-aside 3f2a1b00-... --reason \"the hook was wet\"\n"
     "check-catalogue --salvage saved --catalogue damaged\n"},
    {"backup", "DIR", "copy the whole catalogue while it is used; it says how to restore it",
     options_backup, command_backup, HELP_CATALOGUE, "backup /media/stick/catalogue-2026-05-01\n"},
    {"redact", "RECORD_ID", "take away what a record says; its signed envelope stays",
     options_redact, command_redact, HELP_CATALOGUE,
     "redact 3f2a1b00-... --reason \"the note names its owner\"\n"
     "redact 3f2a1b00-... --detail --reason \"only the result is to stay\"\n"},
    {"private", "[ID]", "what stays in this folder: rig files and owners", options_private,
     command_private, HELP_CATALOGUE,
     "private\n"
     "private 3f2a --json\n"},
};
const int command_count = sizeof commands / sizeof commands[0];

/* ---- options ---- */

enum { OPTIONS_MAX = 32, HELP_CODE = 1000 };

static void make_getopt(const struct command *command, struct option *table) {
    int count = 0;
    for (const struct option_text *text = command->options; text->name != NULL; text++, count++) {
        table[count] = (struct option){text->name, text->argument != NULL, NULL, count};
    }
    table[count++] = (struct option){"help", 0, NULL, HELP_CODE};
    table[count] = (struct option){NULL, 0, NULL, 0};
}

/* What was meant by an option that is none of the command's; NULL where nothing is near. */
static const char *nearest_option(const struct command *command, const char *typed) {
    const struct option_text *nearest = NULL;
    for (const struct option_text *text = command->options; text->name != NULL; text++) {
        if (nearest == NULL ||
            up_text_distance(typed, text->name) < up_text_distance(typed, nearest->name)) {
            nearest = text;
        }
    }
    return nearest != NULL && up_text_is_near(typed, nearest->name) ? nearest->name : NULL;
}

static bool wrong_option(struct call *call, const struct command *command, const char *text,
                         int code) {
    size_t dashes = strspn(text, "-"), length = strcspn(text + dashes, "=");
    UP_FREED char *name = up_text_format("%.*s", (int)(length < 60 ? length : 60), text + dashes);
    const char *nearest = code == ':' ? NULL : nearest_option(command, name);
    if (code == ':') {
        return refuse(call, "%.80s: missing value: see `upthrust help %s`", text, command->name);
    }
    if (nearest != NULL && dashes == 2 && strcmp(nearest, name) == 0) {
        return refuse(call, "%.80s: --%s takes no value", text, nearest);
    }
    return nearest != NULL
               ? refuse(call, "%.80s: unknown option; did you mean --%s? See `upthrust help %s`",
                        text, nearest, command->name)
               : refuse(call, "%.80s: unknown option or ambiguous name: see `upthrust help %s`",
                        text, command->name);
}

/* One that begins with one dash; getopt would take its letters for several. */
static bool has_one_dash(const char *text) {
    return text != NULL && text[0] == '-' && text[1] != '-' && text[1] != '\0';
}

/* False with an empty failure: help was asked for and printed. */
static bool read_arguments(const struct command *command, int argc, char **argv,
                           struct call *call) {
    struct option table[OPTIONS_MAX];
    int code;
    make_getopt(command, table);
    opterr = 0;
    optind = 1;
    while (!has_one_dash(argv[optind]) &&
           ((code = getopt_long(argc, argv, "+:", table, NULL)) != -1 || optind < argc)) {
        if (code == HELP_CODE) {
            print_command_help(command, stdout);
            return false;
        }
        if (code == -1) { /* a word; options may follow it */
            if (call->words == 16) {
                return refuse(call, "too many words");
            }
            call->word[call->words++] = argv[optind++];
        } else if (code == '?' || code == ':') {
            return wrong_option(call, command, argv[optind - 1], code);
        } else if (call->options == OPTIONS_GIVEN_MAX) {
            return refuse(call, "too many options");
        } else {
            call->option[call->options++] =
                (struct given){command->options[code].name, optarg != NULL ? optarg : ""};
        }
    }
    if (optind < argc) {
        return wrong_option(call, command, argv[optind], '?');
    }
    if (call->words > 0 && command->words[0] == '\0') {
        return refuse(call, "%s: %s takes only options", call->word[0], command->name);
    }
    return true;
}

/* ---- ends ---- */

static int complain(const struct up_failure *failure) {
    up_text_lines(stderr, "upthrust: ", failure->text, terminal_columns(STDERR_FILENO));
    return (int)failure->status;
}

/* A full disk or a closed pipe behind stdout shows only here; which of the two, only where it is
   the last write that failed. */
static int close_stdout(int status) {
    struct up_failure failure;
    errno = 0;
    if (fflush(stdout) == 0 && !ferror(stdout)) {
        return status;
    }
    up_fail(&failure, UP_STATUS_UNABLE, "cannot write the output: %s",
            errno != 0 ? strerror(errno)
                       : "the disk is full, or the program that reads it has ended");
    return complain(&failure);
}

static int run(const struct command *command, int argc, char **argv) {
    struct up_failure failure = {0};
    struct call call = {.failure = &failure};
    bool good = read_arguments(command, argc, argv, &call) && command->run(&call);
    up_catalogue_close(call.catalogue);
    if (!good && failure.text[0] != '\0') {
        fflush(stdout);
        return complain(&failure);
    }
    return close_stdout((int)(good ? call.status : failure.status));
}

static int unknown_command(const char *name) {
    const struct command *nearest = nearest_command(name);
    struct up_failure failure;
    if (nearest != NULL) {
        up_fail(&failure, UP_STATUS_WRONG_INPUT,
                "unknown command %.80s; did you mean %s? See `upthrust help`", name, nearest->name);
    } else {
        up_fail(&failure, UP_STATUS_WRONG_INPUT, "unknown command %.80s: see `upthrust help`",
                name);
    }
    return complain(&failure);
}

static int help(int argc, char **argv) {
    const char *topic = argc > 2 ? argv[2] : "help";
    const struct command *command = find_command(topic);
    bool rig = strcmp(topic, "rig") == 0, all = strcmp(topic, "help") == 0;
    if (command == NULL && !rig && !all) {
        return unknown_command(topic);
    }
    if (command != NULL) {
        print_command_help(command, stdout);
    } else if (rig) {
        print_rig_page(stdout);
    } else {
        print_help(stdout);
    }
    return close_stdout(0);
}

/* For the build: what is installed beside the program; and for the completion, names of items. */
static int print(const char *what, const char *directory) {
    struct up_failure failure;
    if (what != NULL && strcmp(what, "man") == 0) {
        print_man_page(stdout);
    } else if (what != NULL && strcmp(what, "bash-completion") == 0) {
        print_bash_completion(stdout);
    } else if (what != NULL && strcmp(what, "items") == 0) {
        if (!print_item_names(directory, &failure)) {
            return complain(&failure);
        }
    } else {
        up_fail(&failure, UP_STATUS_WRONG_INPUT, "--print: give man, bash-completion or items");
        return complain(&failure);
    }
    return close_stdout(0);
}

/* Where standard error was closed, the first line or file that is opened would get its number, and
   words meant for a person would go to a relay. What is written there fails as before. */
static void fill_standard(void) {
    int descriptor;
    do {
        descriptor = open("/dev/null", O_RDONLY);
    } while (descriptor >= 0 && descriptor <= STDERR_FILENO);
    if (descriptor > STDERR_FILENO) {
        close(descriptor);
    }
}

/* Nothing here may allocate. */
static void end_without_memory(void) {
    static const char words[] =
        "upthrust: there is not enough memory: end other programs, then try "
        "again; what was stored before is safe\n";
    if (write(STDERR_FILENO, words, sizeof words - 1) < 0) {
        _exit(UP_STATUS_UNABLE);
    }
    _exit(UP_STATUS_UNABLE);
}

int main(int argc, char **argv) {
    fill_standard();
    up_at_out_of_memory(end_without_memory);
    up_json_keep_whole();
    program_started_by(argc > 0 ? argv[0] : "");
    signal(SIGXFSZ, SIG_IGN); /* a file that grew too large is a write that failed */
    if (argc < 2) {
        print_help(stderr);
        return UP_STATUS_WRONG_INPUT;
    }
    if (strcmp(argv[1], "--version") == 0) {
        puts("upthrust " UPTHRUST_VERSION);
        return close_stdout(0);
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "help") == 0) {
        return help(argc, argv);
    }
    if (strcmp(argv[1], "--print") == 0) {
        return print(argv[2], argv[2] != NULL ? argv[3] : NULL);
    }
    if (find_command(argv[1]) == NULL) {
        return unknown_command(argv[1]);
    }
    return run(find_command(argv[1]), argc - 1, argv + 1);
}
