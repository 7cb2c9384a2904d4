#include "shim.h"
#include "guard.h"

#include <opencv2/dnn.hpp>
#include <stdexcept>
#include <vector>

struct vis_net {
    cv::dnn::Net net;
    std::vector<cv::Mat> results;
};

char *vis_net_load(const uint8_t *onnx, size_t n, vis_net **out) {
    *out = nullptr;
    return vis::guard([&] {
        cv::dnn::Net net = cv::dnn::readNetFromONNX(reinterpret_cast<const char *>(onnx), n);
        if (net.empty()) throw std::runtime_error("the model is empty");
        net.setPreferableBackend(cv::dnn::DNN_BACKEND_OPENCV);
        net.setPreferableTarget(cv::dnn::DNN_TARGET_CPU);
        *out = new vis_net{net, {}};
    });
}

char *vis_net_forward(vis_net *p, const float *in, const int *shape, int dims, const char *const *names,
                      int count) {
    return vis::guard([&] {
        p->results.clear();
        cv::Mat blob(dims, shape, CV_32F, const_cast<float *>(in));
        p->net.setInput(blob);
        std::vector<cv::String> wanted(names, names + count);
        if (wanted.empty()) wanted = p->net.getUnconnectedOutLayersNames();
        std::vector<cv::Mat> results;
        if (wanted.size() == 1)
            results.push_back(p->net.forward(wanted[0]));  // this way it is not copied
        else
            p->net.forward(results, wanted);
        for (cv::Mat &m : results) { // they stay the network's own until its next run
            cv::Mat f = m;
            if (m.depth() != CV_32F) m.convertTo(f, CV_32F);
            if (f.dims > 8) throw std::runtime_error("a result has more than 8 dimensions");
            p->results.push_back(f.isContinuous() ? f : f.clone());
        }
    });
}

int vis_net_results(vis_net *p) { return int(p->results.size()); }

int vis_net_result_shape(vis_net *p, int i, int *shape, int max) {
    const cv::Mat &m = p->results[i];
    for (int k = 0; k < m.dims && k < max; k++) shape[k] = m.size[k];
    return m.dims;
}

void vis_net_result_copy(vis_net *p, int i, float *out) {
    const cv::Mat &m = p->results[i];
    std::memcpy(out, m.ptr<float>(), m.total() * sizeof(float));
    p->results[i].release();
}

void vis_net_close(vis_net *p) { delete p; }
