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

// once: dark and light are told apart over one neighbourhood of 13 px, not over three of 3 to 23 px.
template <class P> void tune(P &p, bool once) {
    p.cornerRefinementMethod = cv::aruco::CORNER_REFINE_NONE;  // done below, on the full picture
    p.minMarkerPerimeterRate = 0.02;                           // a side of 10 px in 2000 px
    p.minCornerDistanceRate = 0.04;
    p.polygonalApproxAccuracyRate = 0.04;
    if (once) p.adaptiveThreshWinSizeMin = p.adaptiveThreshWinSizeMax = 13;
}

using Dictionary = cv::aruco::Dictionary;

#if VIS_NEW_ARUCO
Dictionary dictionary_of(int d) { return cv::aruco::getPredefinedDictionary(d); }
#else
Dictionary dictionary_of(int d) { return *cv::aruco::getPredefinedDictionary(d); }
#endif

// Fills the markers of one dictionary, and the quadrilaterals that are none of it.
void detect(const cv::Mat &gray, int dictionary, bool once, std::vector<int> &ids, Corners &corners, Corners &others) {
#if VIS_NEW_ARUCO
    cv::aruco::DetectorParameters p;
    tune(p, once);
    cv::aruco::ArucoDetector d(cv::aruco::getPredefinedDictionary(dictionary), p);
    d.detectMarkers(gray, corners, ids, others);
#else
    cv::Ptr<cv::aruco::DetectorParameters> p = cv::aruco::DetectorParameters::create();
    tune(*p, once);
    cv::aruco::detectMarkers(gray, cv::aruco::getPredefinedDictionary(dictionary), corners, ids, p, others);
#endif
}

// Reads the cells of a quadrilateral as the detector does (its defaults: 4 px a cell, Otsu's threshold) and tells
// whether they are a marker of d, whose corners it then turns into order.
bool identify(const cv::Mat &gray, const Dictionary &d, std::vector<cv::Point2f> &c, int &id) {
    const int cell = 4, n = d.markerSize + 2, side = cell * n;
    const float far = float(side - 1);
    std::vector<cv::Point2f> to = {{0, 0}, {far, 0}, {far, far}, {0, far}};
    cv::Mat flat, bits = cv::Mat::zeros(n, n, CV_8UC1);
    cv::warpPerspective(gray, flat, cv::getPerspectiveTransform(c, to), cv::Size(side, side), cv::INTER_NEAREST);
    cv::Scalar mean, sd;
    cv::meanStdDev(flat(cv::Rect(cell / 2, cell / 2, side - cell, side - cell)), mean, sd);
    if (sd[0] < 5) return false;
    cv::threshold(flat, flat, 125, 255, cv::THRESH_BINARY | cv::THRESH_OTSU);
    int border = 0;
    for (int y = 0; y < n; y++)
        for (int x = 0; x < n; x++) {
            if (2 * cv::countNonZero(flat(cv::Rect(x * cell, y * cell, cell, cell))) <= cell * cell) continue;
            bits.at<uint8_t>(y, x) = 1;
            if (x == 0 || y == 0 || x == n - 1 || y == n - 1) border++;
        }
    if (border > int(0.35 * d.markerSize * d.markerSize)) return false;
    int turn = 0;
    cv::Mat inner = bits(cv::Rect(1, 1, d.markerSize, d.markerSize));
    if (!d.identify(inner, id, turn, 0.6)) return false;
    std::rotate(c.begin(), c.begin() + (4 - turn) % 4, c.end());
    return true;
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

cv::Mat grey(const cv::Mat &m) {
    cv::Mat g;
    cv::cvtColor(m, g, cv::COLOR_RGB2GRAY);
    return g;
}

// The same in a large picture: only the surroundings of the points are turned to grey.
void refine_in(const cv::Mat &full, std::vector<cv::Point2f> &points, int half) {
    cv::Rect box = cv::boundingRect(points);
    int margin = 2 * half + 8;
    box = cv::Rect(box.x - margin, box.y - margin, box.width + 2 * margin, box.height + 2 * margin) &
          cv::Rect(0, 0, full.cols, full.rows);
    if (box.width < 2 * half + 5 || box.height < 2 * half + 5) return;
    cv::Mat gray = grey(full(box));
    cv::Point2f at(float(box.x), float(box.y));
    for (cv::Point2f &p : points) p -= at;
    refine(gray, points, half);
    for (cv::Point2f &p : points) p += at;
}

// A picture reduced by the whole factor k, in grey; a strip at a time, since the coloured one would take three times as much.
cv::Mat reduced(const cv::Mat &full, int k) {
    const int most = 64;
    cv::Mat out(full.rows / k, full.cols / k, CV_8UC1), strip;
    for (int y = 0; y < out.rows; y += most) {
        int n = std::min(most, out.rows - y);
        cv::resize(full(cv::Rect(0, y * k, out.cols * k, n * k)), strip, cv::Size(out.cols, n), 0, 0, cv::INTER_AREA);
        grey(strip).copyTo(out.rowRange(y, y + n));
    }
    return out;
}

}  // namespace

char *vis_markers(const uint8_t *rgb, int w, int h, const int *dictionaries, int count, int max_side, int once,
                  int max, int *which_out, int *ids_out, float *corners_out, int *found) {
    *found = 0;
    return vis::guard([&] {
        cv::Mat full(h, w, CV_8UC3, const_cast<uint8_t *>(rgb));
        // A whole factor: reducing is then fast, and pixels map exactly.
        int k = max_side > 0 ? std::max(1, std::max(w, h) / max_side) : 1;
        if (w < k || h < k) k = 1;
        cv::Mat search = k > 1 ? reduced(full, k) : grey(full);
        auto put = [&](int which, int id, std::vector<cv::Point2f> c, int n) {
            if (*found >= max) return;
            // Two steps: first at the size searched, then on the full picture with a window of
            // less than half a cell, so that no inner corner of the marker is in it.
            int half = std::max(2, std::min(5, int(0.4f * shortest_side(c) / n)));
            refine(search, c, half);
            if (k > 1) {
                for (cv::Point2f &p : c) p = cv::Point2f((p.x + 0.5f) * k - 0.5f, (p.y + 0.5f) * k - 0.5f);
                refine_in(full, c, std::max(2, std::min(9, int(0.4f * shortest_side(c) / n))));
            }
            which_out[*found] = which;
            ids_out[*found] = id;
            for (int j = 0; j < 4; j++) {
                corners_out[8 * *found + 2 * j] = c[j].x;
                corners_out[8 * *found + 2 * j + 1] = c[j].y;
            }
            ++*found;
        };
        std::vector<int> ids;
        Corners corners, others;
        detect(search, dictionaries[0], once != 0, ids, corners, others);
        int n = dictionary_of(dictionaries[0]).markerSize + 2;
        for (size_t i = 0; i < ids.size(); i++) put(0, ids[i], corners[i], n);
        // The search for quadrilaterals costs most; what it found is read by the other dictionaries too.
        for (int j = 1; j < count; j++) {
            Dictionary d = dictionary_of(dictionaries[j]);
            for (const std::vector<cv::Point2f> &q : others) {
                std::vector<cv::Point2f> c = q;
                int id = 0;
                if (identify(search, d, c, id)) put(j, id, c, d.markerSize + 2);
            }
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
