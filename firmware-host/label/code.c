/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The square that a scanner reads (ISO/IEC 18004), by libqrencode: its quiet margin is four
 * modules. */
#include <errno.h>
#include <qrencode.h>

#include "label/internal.h"
#include "text/memory.h"

enum { MARGIN = 4 };

/* NULL where the text is too long. Want of memory ends the program: a label that lacks its code
   does not say so. */
static QRcode *encode(const char *text) {
    QRcode *code = QRcode_encodeString8bit(text, 0, QR_ECLEVEL_M);
    if (code == NULL && errno == ENOMEM) {
        up_out_of_memory();
    }
    return code;
}

int label_code_modules(const char *text) {
    QRcode *code = encode(text);
    int modules = code == NULL ? 0 : code->width + 2 * MARGIN;
    QRcode_free(code);
    return modules;
}

void label_code_draw(cairo_t *cairo, const char *text, double x_pt, double y_pt, double module_pt) {
    QRcode *code = encode(text);
    int width = code == NULL ? 0 : code->width;
    for (int i = 0; i < width * width; i++) {
        if ((code->data[i] & 1) != 0) {
            cairo_rectangle(cairo, x_pt + (i % width + MARGIN) * module_pt,
                            y_pt + (i / width + MARGIN) * module_pt, module_pt, module_pt);
        }
    }
    cairo_set_source_rgb(cairo, 0, 0, 0);
    cairo_fill(cairo); /* at once, so that no seams show between the modules */
    QRcode_free(code);
}
