/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "metrology/outlier.h"

#include <gsl/gsl_cdf.h>

#include "metrology/gsl_errors.h"
#include "metrology/statistics.h"

#define NO_NUMBER ((double)NAN)

double up_grubbs_critical(size_t count, double significance) {
    if (count < 3 || !(significance > 0 && significance < 1)) {
        return NO_NUMBER;
    }
    double n = (double)count;
    up_gsl_answers();
    double t = gsl_cdf_tdist_Qinv(significance / (2 * n), n - 2);
    return (n - 1) / sqrt(n * (1 + (n - 2) / (t * t)));
}

struct up_outlier up_grubbs(const double *value, size_t count, double significance) {
    struct up_outlier test = {count, NO_NUMBER, up_grubbs_critical(count, significance), false};
    struct up_summary all = up_summarise(value, count);
    if (count < 3 || !(all.sd > 0 && isfinite(all.sd))) {
        return test;
    }
    test.index = 0;
    for (size_t i = 1; i < count; i++) {
        if (fabs(value[i] - all.mean) > fabs(value[test.index] - all.mean)) {
            test.index = i;
        }
    }
    test.statistic = fabs(value[test.index] - all.mean) / all.sd;
    test.outlier = test.statistic > test.critical;
    return test;
}

static bool is_suspect(size_t index, const struct up_outlier *test, size_t tests) {
    for (size_t i = 0; i < tests; i++) {
        if (test[i].index == index) {
            return true;
        }
    }
    return false;
}

size_t up_rosner(const double *value, size_t count, size_t most, double significance,
                 double *scratch, struct up_outlier *test) {
    size_t outliers = 0;
    for (size_t tests = 0; tests < most; tests++) {
        size_t kept = 0, index = 0;
        for (size_t i = 0; i < count; i++) {
            if (!is_suspect(i, test, tests)) {
                scratch[kept++] = value[i];
            }
        }
        test[tests] = up_grubbs(scratch, kept, significance);
        /* Its place among the kept ones is turned into that among all. */
        size_t place = test[tests].index;
        for (; index < count && (place > 0 || is_suspect(index, test, tests)); index++) {
            place -= is_suspect(index, test, tests) ? 0 : 1;
        }
        test[tests].index = isnan(test[tests].statistic) ? count : index;
        if (test[tests].outlier) {
            outliers = tests + 1;
        }
    }
    for (size_t i = 0; i < outliers; i++) {
        test[i].outlier = true;
    }
    return outliers;
}
