/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Names that look alike, by the tables of the Unicode Consortium (UTS 39, confusables), which ICU
   brings. Forms of full width and ligatures are taken apart first (NFKC). */
#include <stdlib.h>
#include <string.h>
#include <unicode/uchar.h>
#include <unicode/unorm2.h>
#include <unicode/uspoof.h>
#include <unicode/ustring.h>

#include "text/text.h"

/* The longest expansion of one character in NFKC is 18, and a confusable's about as long. */
enum { GROWTH = 18 };

static char *to_utf8(const UChar *text, int32_t length) {
    UErrorCode code = U_ZERO_ERROR;
    char *utf8 = up_allocate((size_t)length + 1, 3);
    u_strToUTF8(utf8, 3 * (length + 1), NULL, text, length, &code);
    return utf8;
}

/* Without what cannot be seen; blanks at either end go, several in a row are one. */
static int32_t collapse_blanks(UChar32 *text, int32_t length) {
    int32_t kept = 0;
    bool blank = true;
    for (int32_t at = 0; at < length; at++) {
        bool is_blank = u_isUWhiteSpace(text[at]);
        if (!u_hasBinaryProperty(text[at], UCHAR_DEFAULT_IGNORABLE_CODE_POINT) &&
            !(is_blank && blank)) {
            text[kept++] = text[at];
            blank = is_blank;
        }
    }
    return blank && kept > 0 ? kept - 1 : kept;
}

char *up_text_skeleton(const char *text) {
    static USpoofChecker *checker;
    UErrorCode code = U_ZERO_ERROR;
    int32_t bytes = (int32_t)strlen(text), most = GROWTH * (bytes + 1), length = 0;
    UChar *units = up_allocate((size_t)most, sizeof *units);
    UChar *apart = up_allocate((size_t)most, sizeof *apart);
    UChar32 *points = up_allocate((size_t)most, sizeof *points);
    if (checker == NULL) {
        checker = uspoof_open(&code);
    }
    u_strFromUTF8(units, most, &length, text, bytes, &code);
    length = unorm2_normalize(unorm2_getNFKCInstance(&code), units, length, apart, most, &code);
    u_strToUTF32(points, most, &length, apart, length, &code);
    length = U_SUCCESS(code) ? collapse_blanks(points, length) : 0;
    u_strFromUTF32(apart, most, &length, points, length, &code);
    length = uspoof_getSkeleton(checker, 0, apart, length, units, most, &code);
    char *skeleton = U_SUCCESS(code) ? to_utf8(units, length)
                                     : up_text_format("%s", text); /* resembles only itself */
    free(units);
    free(apart);
    free(points);
    return skeleton;
}

char *up_text_folded(const char *text) {
    UErrorCode code = U_ZERO_ERROR;
    int32_t bytes = (int32_t)strlen(text), most = GROWTH * (bytes + 1), length = 0;
    UChar *units = up_allocate((size_t)most, sizeof *units);
    UChar *folded = up_allocate((size_t)most, sizeof *folded);
    u_strFromUTF8(units, most, &length, text, bytes, &code);
    length =
        unorm2_normalize(unorm2_getNFKCCasefoldInstance(&code), units, length, folded, most, &code);
    char *utf8 = U_SUCCESS(code) ? to_utf8(folded, length) : up_text_format("%s", text);
    free(units);
    free(folded);
    return utf8;
}
