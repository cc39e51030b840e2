/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Text from elsewhere, made harmless for where it goes, and numbers read from text.
 *
 * Text from a wire, a file or a catalogue is hostile until escaped: one function for each output
 * language. All of them turn bytes that are not UTF-8, control characters, U+2028/U+2029 and what
 * cannot be seen (no width, direction, tags) into U+FFFD. Each returns a string that the caller
 * frees with free(); out of memory ends the program (up_text_* never return NULL).
 */
#pragma once

#include <stdarg.h>
#include <stdio.h>

#include "text/memory.h"
#include "upthrust/failure.h"

/* For a terminal or a log line: only the common treatment above. Tabs and newlines go too. */
char *up_text_for_terminal(const char *text);

/* A whole gnuplot string, its double quotes included, to be used with `noenhanced`:
   a backslash stands before each backslash, double quote and backtick. */
char *up_text_for_gnuplot(const char *text);

/* Columns of a terminal that clean text takes: none for a combining mark, two for wide letters and
   emoji. */
int up_text_columns(const char *text);

/* Prints any text made harmless in so many columns: cut with dots or filled with blanks; 0: as long
   as it is. With `isolate`, text from right to left stands between U+2068 and U+2069, so that it
   turns nothing beside it. */
void up_text_put(FILE *stream, const char *text, int columns, bool isolate);

/* Whether any of clean text runs from right to left. */
bool up_text_has_right_to_left(const char *text);

/* Made harmless; text from right to left stands between U+2068 and U+2069, so that a number beside
   it is not turned. For whatever goes to a terminal or a picture beside a number. */
char *up_text_isolated(const char *text);

/* A sentence made harmless, in lines of at most so many columns (0: as long as it is), broken
   between words, behind `lead`, by which further lines are set in; ends the line. The other one has
   78 columns. */
void up_text_lines(FILE *stream, const char *lead, const char *text, int columns);
void up_text_paragraph(FILE *stream, const char *lead, const char *text);

/* printf, made harmless as a whole; a line feed at the end of the format stays one. */
void up_text_print(FILE *stream, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Steps from one text to the other (insert, leave out, replace a byte; case does not count), and
   whether they are few enough for a slip of the finger. Looks at the first 64 bytes. */
size_t up_text_distance(const char *a, const char *b);
bool up_text_is_near(const char *typed, const char *meant);

/* One field of an RFC 4180 file, quoted where needed. What a spreadsheet would take for a formula
   (it begins with = + - @, also of full width, tab or CR, and is no number; or stands so behind a
   semicolon) gets an apostrophe in front. */
char *up_text_for_csv(const char *text);

/* Whether the common treatment above changes it. */
bool up_text_is_clean(const char *text);

/* Names with the same skeleton look alike (Unicode UTS 39): an o of another alphabet, 1 and l. For
   comparing only. */
char *up_text_skeleton(const char *text);

/* Case, width and ligatures aside (NFKC_Casefold). For comparing and finding. */
char *up_text_folded(const char *text);

/* Valid UTF-8 with control characters replaced: what may be stored or put in JSON. */
char *up_text_clean(const char *bytes, size_t length);

/* The same, with line feeds and tabs kept: a whole file's text. */
char *up_text_clean_lines(const char *text);

/* A whole text as a decimal number ("12", "-0.5", "1e3"), whatever the locale. False where it is
   anything else: empty, blanks, trailing bytes, nan, inf, hexadecimal, more than 40 characters. */
bool up_text_number(const char *text, size_t length, double *value);

/* The shortest decimal text that reads back as the same double; "INF", "-INF" and "" for
   infinities and NaN. The buffer holds it and its NUL: 32 bytes are enough. */
void up_text_from_number(double value, char *buffer, size_t size);

/* Whether a text is of a form, such as "0000-00-00": 0 stands for a digit, x for a lower-case
   hexadecimal one, all else for itself. The other one: so many lower-case hexadecimal digits. */
bool up_text_has_form(const char *text, const char *form);
bool up_text_is_hex(const char *text, size_t digits);

/* The next whole part of so many to one that is not below the value: what is true of at most a
   value must not be shown as less. Never -0. */
double up_text_round_up(double value, double parts);

/* Writes a whole file or nothing: temporary name beside it, write, flush to disk, rename.
   `write` gets the open stream and returns false when it failed. */
bool up_text_write_file(const char *path, bool (*write)(FILE *stream, void *context), void *context,
                        struct up_failure *failure);

/* The same, but a file that would hold the same bytes again is left as it is, its time too: a
   program that watches it is not notified without a change. */
bool up_text_update_file(const char *path, bool (*write)(FILE *stream, void *context),
                         void *context, struct up_failure *failure);

/* The temporary files of pictures and pages that processes which are gone left in a folder. */
void up_text_remove_left_over(const char *directory);

/* Whether a link may stand for a file that is read. What lies in a catalogue may come from somebody
   else, and a link there lead anywhere. */
enum up_links { UP_LINKS_FOLLOWED, UP_LINKS_REFUSED };

/* The only way in which files are opened for reading: a descriptor of a regular file of at most so
   many bytes. -1 for anything else, of which a pipe or a device would keep its reader for ever;
   nothing is waited for. UP_STATUS_WRONG_INPUT says why. */
int up_text_open_file(const char *path, enum up_links links, size_t most_bytes,
                      struct up_failure *failure);

/* All its bytes with a NUL behind them, freed by the caller; NULL where it fails. */
char *up_text_read_file(const char *path, enum up_links links, size_t most_bytes, size_t *length,
                        struct up_failure *failure);

/* What this account keeps outside its catalogues: upthrust/NAME in XDG_STATE_HOME, which is
   ~/.local/state where it is not set to an absolute path (XDG Base Directory Specification 0.8).
   Freed by the caller; NULL where there is no home either. */
char *up_text_state_path(const char *name);

/* Makes the missing folders above a path, for this account alone: 0, or the errno of the first that
   it could not make. */
int up_text_make_parents(const char *path);

/* Makes a folder, or takes the one that is there; with UP_LINKS_REFUSED none that a link stands
   for. */
bool up_text_make_folder(const char *path, enum up_links links, struct up_failure *failure);

/* "s" behind a noun of which there are so many, "" behind a single one. */
const char *up_text_plural(unsigned long long count);

/* printf into a new string, freed by the caller. */
char *up_text_format(const char *format, ...) __attribute__((format(printf, 1, 2)));
char *up_text_format_of(const char *format, va_list arguments)
    __attribute__((format(printf, 1, 0)));
