/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Texts that stay in this folder: the text of a rig file, who owns an item. They are no records:
 * no export, merge, page or report has them; only a backup of the whole folder does. A public
 * record may hold a commitment instead, SHA-256 over the salt and the text, by which whoever has
 * both can later show what the text was.
 */
#pragma once

#include "catalogue/records.h"

enum { UP_SALT_SIZE = 65 };

/* Of a thing (a record's or an item's id) and a member; each the caller's to free. */
struct up_private {
    char thing[UP_ID_SIZE], member[16];
    char salt[UP_SALT_SIZE], made_utc[UP_TIME_SIZE];
    char commitment[UP_SHA256_SIZE];
    bool fits;  /* the public record, where there is one, commits to this text */
    char *text; /* NULL: there is none */
};

/* In the place of the one before; an empty text takes that away, its bytes too. */
bool up_private_set(struct up_catalogue *catalogue, const char *thing, const char *member,
                    const char *text, struct up_failure *failure);
bool up_private_find(struct up_catalogue *catalogue, const char *thing, const char *member,
                     struct up_private *found, struct up_failure *failure);
/* All of them, by thing and member; `thing`: those whose id begins so. The visitor borrows. */
bool up_private_each(struct up_catalogue *catalogue, const char *thing,
                     bool (*visit)(const struct up_private *text, void *context), void *context,
                     struct up_failure *failure);

/* Who owns an item: no version of it holds that. */
bool up_item_set_owner(struct up_catalogue *catalogue, const char *item_id, const char *owner,
                       struct up_failure *failure);
/* The caller's; NULL where none is noted, or it fails. */
char *up_item_owner(struct up_catalogue *catalogue, const char *item_id);
