#include "shim.h"
#include "guard.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

// The marker detector moved from the aruco module to objdetect, with another interface, in 4.7.
#if CV_VERSION_MAJOR > 4 || (CV_VERSION_MAJOR == 4 && CV_VERSION_MINOR >= 7)
#define VIS_NEW_ARUCO 1
#include <opencv2/objdetect/aruco_detector.hpp>
#else
#define VIS_NEW_ARUCO 0
#include <opencv2/aruco.hpp>
#endif

namespace {

using Corners = std::vector<std::vector<cv::Point2f>>;

template <class P> void tune(P &p) {
    p.cornerRefinementMethod = cv::aruco::CORNER_REFINE_NONE;  // done below, on the full picture
    p.minMarkerPerimeterRate = 0.02;                           // a side of 10 px in 2000 px
    p.minCornerDistanceRate = 0.04;
    p.polygonalApproxAccuracyRate = 0.04;
}

void detect(const cv::Mat &gray, int dictionary, std::vector<int> &ids, Corners &corners) {
#if VIS_NEW_ARUCO
    cv::aruco::DetectorParameters p;
    tune(p);
    cv::aruco::ArucoDetector d(cv::aruco::getPredefinedDictionary(dictionary), p);
    d.detectMarkers(gray, corners, ids);
#else
    cv::Ptr<cv::aruco::DetectorParameters> p = cv::aruco::DetectorParameters::create();
    tune(*p);
    cv::aruco::detectMarkers(gray, cv::aruco::getPredefinedDictionary(dictionary), corners, ids, p);
#endif
}

int cells(int dictionary) {
#if VIS_NEW_ARUCO
    return cv::aruco::getPredefinedDictionary(dictionary).markerSize + 2;
#else
    return cv::aruco::getPredefinedDictionary(dictionary)->markerSize + 2;
#endif
}

float shortest_side(const std::vector<cv::Point2f> &c) {
    float least = 1e9f;
    for (int i = 0; i < 4; i++) least = std::min(least, float(cv::norm(c[i] - c[(i + 1) % 4])));
    return least;
}

// Moves the points to the saddle or corner nearby, staying where refinement runs away.
void refine(const cv::Mat &gray, std::vector<cv::Point2f> &points, int half) {
    std::vector<cv::Point2f> before = points;
    cv::cornerSubPix(gray, points, cv::Size(half, half), cv::Size(-1, -1),
                     cv::TermCriteria(cv::TermCriteria::EPS | cv::TermCriteria::COUNT, 50, 0.005));
    for (size_t i = 0; i < points.size(); i++)
        if (!(cv::norm(points[i] - before[i]) <= half)) points[i] = before[i];
}

}  // namespace

char *vis_markers(const uint8_t *data, int w, int h, int dictionary, int max_side, int max, int *ids_out,
                  float *corners_out, int *found) {
    *found = 0;
    return vis::guard([&] {
        cv::Mat full(h, w, CV_8UC1, const_cast<uint8_t *>(data)), search = full;
        // A whole factor: reducing is then fast, and pixels map exactly.
        int k = max_side > 0 ? std::max(1, std::max(w, h) / max_side) : 1;
        if (k > 1 && w >= k && h >= k) {
            cv::Size to(w / k, h / k);
            cv::resize(full(cv::Rect(0, 0, to.width * k, to.height * k)), search, to, 0, 0, cv::INTER_AREA);
        } else {
            k = 1;
        }
        std::vector<int> ids;
        Corners corners;
        detect(search, dictionary, ids, corners);
        int n = cells(dictionary);
        for (size_t i = 0; i < ids.size() && *found < max; i++) {
            std::vector<cv::Point2f> c = corners[i];
            // Two steps: first at the size searched, then on the full picture with a window of
            // less than half a cell, so that no inner corner of the marker is in it.
            int half = std::max(2, std::min(5, int(0.4f * shortest_side(c) / n)));
            refine(search, c, half);
            if (k > 1) {
                for (cv::Point2f &p : c) p = cv::Point2f((p.x + 0.5f) * k - 0.5f, (p.y + 0.5f) * k - 0.5f);
                refine(full, c, std::max(2, std::min(9, int(0.4f * shortest_side(c) / n))));
            }
            ids_out[*found] = ids[i];
            for (int j = 0; j < 4; j++) {
                corners_out[8 * *found + 2 * j] = c[j].x;
                corners_out[8 * *found + 2 * j + 1] = c[j].y;
            }
            ++*found;
        }
    });
}

char *vis_marker_picture(int dictionary, int id, int side, uint8_t *out) {
    return vis::guard([&] {
        cv::Mat to(side, side, CV_8UC1, out), m;
#if VIS_NEW_ARUCO
        cv::aruco::generateImageMarker(cv::aruco::getPredefinedDictionary(dictionary), id, side, m, 1);
#else
        cv::aruco::drawMarker(cv::aruco::getPredefinedDictionary(dictionary), id, side, m, 1);
#endif
        m.copyTo(to);
    });
}

char *vis_subpix(const uint8_t *gray, int w, int h, float *points, int n, int half) {
    return vis::guard([&] {
        cv::Mat full(h, w, CV_8UC1, const_cast<uint8_t *>(gray));
        std::vector<cv::Point2f> p(n);
        for (int i = 0; i < n; i++) p[i] = cv::Point2f(points[2 * i], points[2 * i + 1]);
        refine(full, p, half);
        for (int i = 0; i < n; i++) {
            points[2 * i] = p[i].x;
            points[2 * i + 1] = p[i].y;
        }
    });
}
