/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * JSON values from numbers and text that JSON may not be able to hold, and how much of JSON fits
 * into memory.
 */
#pragma once

#include <jansson.h>
#include <stdbool.h>
#include <stdio.h>

/* null where the number is not finite. */
json_t *up_json_number(double value);

/* Any bytes as valid UTF-8 (see up_text_clean): a path is any bytes, a name may have been cut
   within a letter, and JSON holds neither. */
json_t *up_json_text(const char *text);

/* Writes JSON; texts that hold what cannot be seen, with escapes (\\u200b), so that they cannot be
   confused. False where the stream fails. */
bool up_json_write(const json_t *json, FILE *stream, size_t flags);

/* The one form of a value (RFC 8785, JSON Canonicalization Scheme), freed by the caller. NULL where
   an integer is beyond 2^53, which no other program would read exactly. */
char *up_json_canonical(const json_t *json);

/* Whether JSON text is in that form, to the byte. What it says (the caller's) is given as by `read`
   in either case. */
bool up_json_is_canonical(const char *text, json_t **json);

/* What JSON text says, its numbers as any program reads them that has doubles alone: whole ones to
   2^53 as integers, all others as doubles. The caller's; NULL where it is no JSON, or a member
   stands in it twice. */
json_t *up_json_read(const char *text);
/* Whether jansson alone has read a canonical text so: no integer in it is beyond 2^53. */
bool up_json_is_exact(json_t *json);

/* About how much memory a parser fills with the values of JSON text: "{}" three million times is
   small on the disk only. */
size_t up_json_bytes(const char *text, size_t length);

/* jansson leaves a member out that finds no room. From now on it ends the program instead (see
   memory.h), unless the program has chosen another allocator there. Opening a catalogue does it:
   what is stored is never incomplete. */
void up_json_keep_whole(void);
