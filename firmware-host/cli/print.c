/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Man page and bash completion, from the table of commands. */
#include <ctype.h>
#include <string.h>

#include "cli.h"
#include "embedded.h"
#include "text/text.h"

/* The text up to a mark, which stands for what is made here; what follows the mark. */
static const char *put_until(FILE *stream, const char *text, const char *mark) {
    const char *end = strstr(text, mark);
    fwrite(text, 1, (size_t)(end - text), stream);
    return end + strlen(mark);
}

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
    put_examples(stream, command->examples);
}

void print_man_page(FILE *stream) {
    const char *at = put_until(stream, embedded_upthrust_man, "@VERSION@");
    fputs(UPTHRUST_VERSION, stream);
    at = put_until(stream, at, "@CAUTIONS@\n");
    for (const char *const *text = all_cautions; *text != NULL; text++) {
        fputs(".IP \\(bu 2\n", stream);
        put_man(stream, *text);
        fputc('\n', stream);
    }
    at = put_until(stream, at, "@COMMANDS@\n");
    for (int group = 0; group < HELP_GROUPS; group++) {
        fputs(".SH \"", stream);
        for (const char *title = help_group_titles[group]; *title != '\0'; title++) {
            fputc(toupper((unsigned char)*title), stream);
        }
        fputs("\"\n", stream);
        for (int i = 0; i < command_count; i++) {
            if (commands[i].group == (enum help_group)group) {
                put_command(stream, &commands[i]);
            }
        }
    }
    fputs(at, stream);
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
    const char *at = put_until(stream, embedded_completion_bash, "@COMMANDS@");
    for (int i = 0; i < command_count; i++) {
        fprintf(stream, "%s ", commands[i].name);
    }
    at = put_until(stream, at, "@CASES@\n");
    for (int i = 0; i < command_count; i++) {
        put_value_cases(stream, &commands[i]);
        put_word_case(stream, &commands[i]);
    }
    fputs(at, stream);
}
