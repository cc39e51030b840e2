/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * JSON values from numbers and text that JSON may not be able to hold.
 */
#ifndef UPTHRUST_TEXT_JSON_H
#define UPTHRUST_TEXT_JSON_H

#include <jansson.h>

/* null where the number is not finite. */
json_t *up_json_number(double value);

/* Any bytes as valid UTF-8 (see up_text_clean): a path is any bytes, a name may have been cut
   within a letter, and JSON holds neither. */
json_t *up_json_text(const char *text);

#endif
