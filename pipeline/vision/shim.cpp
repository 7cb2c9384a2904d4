#include "shim.h"
#include "guard.h"

#include <opencv2/core.hpp>
#include <opencv2/core/utils/logger.hpp>
#include <opencv2/imgproc.hpp>

#ifdef __GLIBC__
#include <malloc.h>
#endif

static int no_print(int, const char *, const char *, const char *, int, void *) { return 0; }

void vis::quiet() {
    static const bool once = [] {
        cv::redirectError(no_print);
        cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
        return true;
    }();
    (void)once;
}

void vis_set_threads(int n) {
    vis::quiet();
    try {
        cv::setNumThreads(n);
    } catch (...) {
    }
}

// Setting the threshold also stops glibc from raising it with every large block that is freed.
void vis_return_memory(void) {
#ifdef __GLIBC__
    mallopt(M_MMAP_THRESHOLD, 256 << 10);
    mallopt(M_ARENA_MAX, 2);
#endif
}

char *vis_gray(const uint8_t *rgb, int w, int h, uint8_t *out) {
    return vis::guard([&] {
        cv::Mat from(h, w, CV_8UC3, const_cast<uint8_t *>(rgb)), to(h, w, CV_8UC1, out);
        cv::cvtColor(from, to, cv::COLOR_RGB2GRAY);
    });
}

char *vis_reduce(const uint8_t *in, int w, int h, int channels, uint8_t *out, int ow, int oh) {
    return vis::guard([&] {
        cv::Mat from(h, w, CV_8UC(channels), const_cast<uint8_t *>(in)), to(oh, ow, CV_8UC(channels), out);
        cv::resize(from, to, to.size(), 0, 0, cv::INTER_AREA);
    });
}

char *vis_shrink(const uint8_t *in, int w, int h, int channels, int k, uint8_t *out) {
    return vis::guard([&] {
        cv::Mat from(h, w, CV_8UC(channels), const_cast<uint8_t *>(in)), to(h / k, w / k, CV_8UC(channels), out);
        cv::resize(from(cv::Rect(0, 0, to.cols * k, to.rows * k)), to, to.size(), 0, 0, cv::INTER_AREA);
    });
}
