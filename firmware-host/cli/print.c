/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Man page and bash completion, from the table of commands. */
#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "cli.h"
#include "text/text.h"
#include "upthrust/waters.h"

/* ---- man page: the man macros ---- */

/* A hyphen stays a minus that can be copied; a line of text never begins a request. */
static void put_man_part(FILE *stream, const char *text, size_t length) {
    for (size_t i = 0; i < length; i++) {
        if (i == 0 && (text[i] == '.' || text[i] == '\'')) {
            fputs("\\&", stream);
        }
        if (text[i] == '\\') {
            fputs("\\e", stream);
        } else if (text[i] == '-') {
            fputs("\\-", stream);
        } else {
            fputc(text[i], stream);
        }
    }
}

static void put_man(FILE *stream, const char *text) {
    put_man_part(stream, text, strlen(text));
}

static void put_option(FILE *stream, const struct option_text *option) {
    fputs(".TP\n\\fB\\-\\-", stream);
    put_man(stream, option->name);
    fputs("\\fR", stream);
    if (option->argument != NULL) {
        fputs(" \\fI", stream);
        put_man(stream, option->argument);
        fputs("\\fR", stream);
    }
    fputc('\n', stream);
    put_man(stream, option->help);
    fputc('\n', stream);
}

static void put_examples(FILE *stream, const char *at) {
    if (at[0] == '\0') {
        return;
    }
    fputs(".PP\nExamples:\n.PP\n.nf\n.RS\n", stream);
    while (*at != '\0') {
        size_t length = strcspn(at, "\n");
        fputs("upthrust ", stream);
        put_man_part(stream, at, length);
        fputc('\n', stream);
        at += length + (at[length] == '\n');
    }
    fputs(".RE\n.fi\n", stream);
}

static void put_command(FILE *stream, const struct command *command) {
    fputs(".SS \"upthrust ", stream);
    put_man(stream, command->name);
    fputs(command->words[0] != '\0' ? " " : "", stream);
    put_man(stream, command->words);
    fputs("\"\n", stream);
    put_man(stream, command->summary);
    fputs(".\n", stream);
    for (const struct option_text *option = command->options; option->name != NULL; option++) {
        put_option(stream, option);
    }
    put_examples(stream, help_text_of(command)->examples);
}

static void put_man_head(FILE *stream) {
    fputs(".\\\" SPDX-License-Identifier: GPL-3.0-or-later\n"
          ".\\\" Made by `upthrust --print man`.\n"
          ".TH UPTHRUST 1 \"\" \"upthrust " UPTHRUST_VERSION "\" \"User Commands\"\n"
          ".SH NAME\nupthrust \\- net buoyancy of dive gear, measured on a tank with a load cell\n"
          ".SH SYNOPSIS\n.B upthrust\n.I COMMAND\n[options]\n"
          ".SH DESCRIPTION\n"
          "Reads a load cell over a serial line, calibrates it with known masses, weighs an item "
          "in air and under water, and states how many grams up or down it is in the tank, in "
          "fresh water and in a sea, how sure that is, and its class.\n"
          "Results go into a catalogue that other programs read.\n"
          ".PP\nThe numbers prepare a dive; a weight check in the water decides.\n",
          stream);
}

static void put_cautions(FILE *stream) {
    fputs(".SH CAUTIONS\n", stream);
    for (const char *const *text = all_cautions; *text != NULL; text++) {
        fputs(".IP \\(bu 2\n", stream);
        put_man(stream, *text);
        fputc('\n', stream);
    }
}

static void put_man_tail(FILE *stream) {
    fputs(".SH EXIT STATUS\n"
          ".TP\n0\ndone\n"
          ".TP\n1\nit could not be done: device, wire, disk, lock; results are kept\n"
          ".TP\n2\nan argument, rig, capture or import file is wrong\n"
          ".TP\n3\ndone, but a water asked for is undecided or a check fell short\n"
          ".SH ENVIRONMENT\n"
          ".TP\nUPTHRUST_CATALOGUE\nthe catalogue's directory where \\-\\-catalogue is not given\n"
          ".TP\nNO_COLOR\nif set, nothing is coloured\n",
          stream);
}

void print_man_page(FILE *stream) {
    put_man_head(stream);
    put_cautions(stream);
    for (int group = 0; group < HELP_GROUPS; group++) {
        fputs(".SH \"", stream);
        for (const char *at = help_group_title((enum help_group)group); *at != '\0'; at++) {
            fputc(toupper((unsigned char)*at), stream);
        }
        fputs("\"\n", stream);
        for (int i = 0; i < command_count; i++) {
            if (help_text_of(&commands[i])->group == (enum help_group)group) {
                put_command(stream, &commands[i]);
            }
        }
    }
    put_man_tail(stream);
}

/* ---- what there is to complete ---- */

static bool print_name(const struct up_record *record, void *context) {
    struct up_item item;
    (void)context;
    if (up_item_from_json(record->content, &item) && !item.retired) {
        up_text_print(stdout, "%s\n", item.name);
    }
    return true;
}

bool print_item_names(const char *directory, struct up_failure *failure) {
    struct call call = {.failure = failure};
    if (directory != NULL) {
        call.option[call.options++] = (struct given){"catalogue", directory};
    }
    bool good = open_catalogue(&call, UP_CATALOGUE_READ) &&
                up_catalogue_each(call.catalogue, "item", print_name, NULL, failure);
    up_catalogue_close(call.catalogue);
    return good;
}

/* ---- bash completion: names from a catalogue are compared by the shell, never evaluated ---- */

static void put_kinds(FILE *stream) {
    for (unsigned i = 0; up_kind_facts_at(i) != NULL; i++) {
        fprintf(stream, "%s%s", i > 0 ? " " : "", up_kind_facts_at(i)->name);
    }
}

static void put_waters(FILE *stream) {
    for (size_t i = 0; up_named_water_at(i) != NULL; i++) {
        fprintf(stream, "%s%s", i > 0 ? " " : "", up_named_water_at(i)->name);
    }
}

/* False where its value is no item, kind or water. */
static bool put_known(FILE *stream, const char *option) {
    bool kind = strcmp(option, "kind") == 0, water = strcmp(option, "water") == 0;
    if (strcmp(option, "item") == 0 || strcmp(option, "together") == 0) {
        fputs("kind=items ;;\n", stream);
        return true;
    }
    if (kind || water) {
        fputs("words='", stream);
        kind ? put_kinds(stream) : put_waters(stream);
        fputs("' ;;\n", stream);
    }
    return kind || water;
}

/* Whether a word that follows is the name of an item. */
static bool takes_items(const struct command *command) {
    return strstr(command->words, "NAME_OR_ID") != NULL && strcmp(command->name, "body") != 0;
}

/* "a|b|c" of lower-case words; others, as "NAME" or "FILE|DIR", are no choice. */
static bool is_choice(const char *text, size_t length) {
    bool letters = length > 0;
    for (size_t i = 0; i < length; i++) {
        letters = letters && (islower((unsigned char)text[i]) || strchr("|-", text[i]) != NULL);
    }
    return letters;
}

static void put_choice(FILE *stream, const char *text, size_t length) {
    for (size_t i = 0; i < length; i++) {
        fputc(text[i] == '|' ? ' ' : text[i], stream);
    }
}

static void put_value_cases(FILE *stream, const struct command *command) {
    for (const struct option_text *option = command->options; option->name != NULL; option++) {
        const char *argument = option->argument;
        if (argument == NULL) {
            continue;
        }
        fprintf(stream, "    %s:--%s) ", command->name, option->name);
        if (put_known(stream, option->name)) {
            continue;
        }
        if (is_choice(argument, strlen(argument))) {
            fputs("words='", stream);
            put_choice(stream, argument, strlen(argument));
            fputs("' ;;\n", stream);
        } else {
            bool directory = strcmp(argument, "DIR") == 0;
            bool file = strcmp(argument, "FILE") == 0 || strcmp(argument, "PATH") == 0;
            fprintf(stream, "%s ;;\n", directory ? "kind=-d" : file ? "kind=-f" : "kind=none");
        }
    }
}

static void put_word_case(FILE *stream, const struct command *command) {
    size_t verbs = strcspn(command->words, " ");
    bool has_verbs = is_choice(command->words, verbs);
    fprintf(stream, "    %s:*) words='", command->name);
    if (has_verbs) {
        put_choice(stream, command->words, verbs);
        fputc(' ', stream);
    }
    for (const struct option_text *option = command->options; option->name != NULL; option++) {
        fprintf(stream, "--%s ", option->name);
    }
    fputs("--help'", stream);
    fputs(strstr(command->words, "FILE") != NULL || strstr(command->words, "DIR") != NULL
              ? "; [[ $cur == -* ]] || kind=-f ;;\n"
          : takes_items(command) && has_verbs
              ? "; ((COMP_CWORD == 2)) || [[ $cur == -* ]] || kind=items ;;\n"
          : takes_items(command) ? "; [[ $cur == -* ]] || kind=items ;;\n"
                                 : " ;;\n",
          stream);
}

void print_bash_completion(FILE *stream) {
    fputs("# SPDX-License-Identifier: GPL-3.0-or-later\n"
          "# Made by `upthrust --print bash-completion`.\n"
          "_upthrust_items() {\n"
          "    local i name start=${2#[\\\"\\']} where=()\n"
          "    start=${start//\\\\/}\n"
          "    for ((i = 1; i < COMP_CWORD; i++)); do\n"
          "        [[ ${COMP_WORDS[i - 1]} != --catalogue ]] || where=(\"${COMP_WORDS[i]}\")\n"
          "    done\n"
          "    while IFS= read -r name; do\n"
          "        [[ $name == \"$start\"* ]] || continue\n"
          "        case $2 in\n"
          "        \\\"*) [[ $name == *[\\`\\$\\\"\\\\!]* ]] || COMPREPLY+=(\"$name\") ;;\n"
          "        \\'*) [[ $name == *\\'* ]] || COMPREPLY+=(\"$name\") ;;\n"
          "        *) printf -v name %q \"$name\" && COMPREPLY+=(\"$name\") ;;\n"
          "        esac\n"
          "    done < <(\"$1\" --print items \"${where[@]}\" 2>/dev/null)\n"
          "}\n"
          "_upthrust() {\n"
          "    local cur=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}\n"
          "    local command=${COMP_WORDS[1]} words= kind=words\n"
          "    COMPREPLY=()\n"
          "    if ((COMP_CWORD == 1)) || { ((COMP_CWORD == 2)) && [[ $command == help ]]; }; then\n"
          "        words='",
          stream);
    for (int i = 0; i < command_count; i++) {
        fprintf(stream, "%s ", commands[i].name);
    }
    fputs("help'\n"
          "    else case $command:$before in\n",
          stream);
    for (int i = 0; i < command_count; i++) {
        put_value_cases(stream, &commands[i]);
        put_word_case(stream, &commands[i]);
    }
    fputs("    esac; fi\n"
          "    case $kind in\n"
          "    items) _upthrust_items \"${1:-${COMP_WORDS[0]}}\" \"$cur\" ;;\n"
          "    -d | -f) compopt -o filenames 2>/dev/null\n"
          "        mapfile -t COMPREPLY < <(compgen \"$kind\" -- \"$cur\") ;;\n"
          "    words) mapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$cur\") ;;\n"
          "    esac\n"
          "}\n"
          "complete -F _upthrust upthrust\n",
          stream);
}
