/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Allocation that ends the program when there is no memory left: a record that lacks what found no
 * room would be worse than none, and what was acknowledged is on the disk.
 */
#pragma once

#include <stddef.h>
#include <stdnoreturn.h>

/* Filled with zeros; never NULL. The caller frees it with free(). */
void *up_allocate(size_t count, size_t size);
void *up_reallocate(void *old, size_t count, size_t size);

/* Before a pointer's declaration: free()d by whoever leaves its block, as jansson's json_auto_t is
   released. */
#define UP_FREED __attribute__((cleanup(up_free_at)))
void up_free_at(void *pointer);

/* With the signature of malloc(), for libraries whose allocator can be chosen. */
void *up_allocate_bytes(size_t size);

/* For code that notices it in another way. Calls abort() in the end. */
noreturn void up_out_of_memory(void);

/* What is done before that: say so, put the terminal in order, end with a status. It must not
   allocate. Returns the one that was set before, NULL for none; the new one may call it. */
typedef void up_memory_end(void);
up_memory_end *up_at_out_of_memory(up_memory_end *end);
