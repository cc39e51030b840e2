/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Help, from the table of commands. */
#include <string.h>

#include "cli.h"
#include "text/text.h"

const char *const help_group_titles[HELP_GROUPS] = {"At the tank", "The catalogue", "Tools"};

const struct command *find_command(const char *name) {
    for (int i = 0; i < command_count; i++) {
        if (strcmp(commands[i].name, name) == 0) {
            return &commands[i];
        }
    }
    return NULL;
}

const struct command *nearest_command(const char *name) {
    const struct command *nearest = &commands[0];
    for (int i = 1; i < command_count; i++) {
        if (up_text_distance(name, commands[i].name) < up_text_distance(name, nearest->name)) {
            nearest = &commands[i];
        }
    }
    return up_text_is_near(name, nearest->name) ? nearest : NULL;
}

static void print_group(enum help_group group, FILE *stream) {
    int columns = terminal_columns(fileno(stream));
    fprintf(stream, "\n%s:\n", help_group_titles[group]);
    for (int i = 0; i < command_count; i++) {
        if (commands[i].group == group) {
            UP_FREED char *lead = up_text_format("  %-11s ", commands[i].name);
            up_text_lines(stream, lead, commands[i].summary, columns);
        }
    }
}

void print_help(FILE *stream) {
    fputs("upthrust " UPTHRUST_VERSION
          ": net buoyancy of dive gear, measured on a tank with a load cell\n\n"
          "usage: upthrust COMMAND [options]\n",
          stream);
    for (int group = 0; group < HELP_GROUPS; group++) {
        print_group((enum help_group)group, stream);
    }
    fputs("  help        help COMMAND: the options of a command, with examples\n"
          "              help rig: the equipment, its cautions and the rig file\n\n",
          stream);
    fprintf(stream, "Begin with: %s demo --dir demo\n", program_name());
    fputs("Exit status: 0 done, 1 could not be done, 2 wrong input, 3 done but undecided.\n"
          "The numbers prepare a dive; a weight check in the water decides.\n",
          stream);
}

/* One too long for the terminal goes on in a next line, as a shell reads it. */
static void print_example(const char *text, size_t length, FILE *stream) {
    int columns = terminal_columns(fileno(stream));
    UP_FREED char *line = up_text_format("  upthrust %.*s", (int)length, text);
    char *at = line;
    while (columns > 0 && strlen(at) > (size_t)columns) {
        char *end = at + columns - 2;
        while (end > at + 4 && (end[0] != ' ' || end[1] != '-')) { /* before an option */
            end--;
        }
        if (end == at + 4) {
            break;
        }
        fprintf(stream, "%.*s \\\n   ", (int)(end - at), at);
        at = end;
    }
    fprintf(stream, "%s\n", at);
}

static void print_examples(const struct command *command, FILE *stream) {
    const char *at = command->examples;
    fputs(at[0] != '\0' ? "\nexamples:\n" : "", stream);
    while (*at != '\0') {
        size_t length = strcspn(at, "\n");
        print_example(at, length, stream);
        at += length + (at[length] == '\n');
    }
}

/* On a terminal broken between words; a name too long for its column then has a line of its own. */
static void print_option(const struct option_text *option, FILE *stream) {
    enum { COLUMN = 28 };
    int columns = terminal_columns(fileno(stream));
    UP_FREED char *name =
        up_text_format("  --%s%s%s", option->name, option->argument != NULL ? " " : "",
                       option->argument != NULL ? option->argument : "");
    bool own_line = columns > 0 && strlen(name) > COLUMN;
    UP_FREED char *lead = up_text_format("%-*s ", COLUMN, own_line ? "" : name);
    if (own_line) {
        fprintf(stream, "%s\n", name);
    }
    up_text_lines(stream, lead, option->help, columns);
}

void print_command_help(const struct command *command, FILE *stream) {
    UP_FREED char *usage = up_text_format("upthrust %s%s%s [options]", command->name,
                                          command->words[0] != '\0' ? " " : "", command->words);
    int columns = terminal_columns(fileno(stream));
    up_text_lines(stream, "usage: ", usage, columns);
    up_text_lines(stream, "", command->summary, columns);
    fputc('\n', stream);
    for (const struct option_text *option = command->options; option->name != NULL; option++) {
        print_option(option, stream);
    }
    fprintf(stream, "  %-26s %s\n", "--help", "this");
    print_examples(command, stream);
}
