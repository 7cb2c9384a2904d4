#include "fast.h"

#include "kernels.h"

#include <opencv2/dnn.hpp>
#include <opencv2/dnn/all_layers.hpp>
#include <opencv2/dnn/layer.hpp>
#include <map>
#include <memory>
#include <mutex>
#include <tuple>

// OpenCV 4.6 takes more than twice as long for the layers of kernels.h; from 4.7 on it has Winograd's way itself (from
// memory) and is left alone. All other layers stay OpenCV's.

namespace {

using cv::Mat;
using cv::Ptr;
using cv::dnn::Layer;
using cv::dnn::LayerParams;
using cv::dnn::MatShape;

using Weights = std::vector<float>;

// shared returns make(p, w) of n numbers. Networks of the same file share them: they are told apart by a hash of 64 bits.
std::shared_ptr<const Weights> shared(Weights (*make)(const Plan &, const float *), const Plan &p, const Mat &w) {
    static std::mutex only;
    static std::map<std::tuple<uint64_t, int, int, void *>, std::weak_ptr<const Weights>> known;
    const uint8_t *bytes = w.ptr();
    uint64_t hash = 14695981039346656037u;  // FNV-1a
    for (size_t i = 0, n = w.total() * sizeof(float); i < n; i++) hash = (hash ^ bytes[i]) * 1099511628211u;
    std::lock_guard<std::mutex> lock(only);
    std::weak_ptr<const Weights> &place = known[std::make_tuple(hash, p.in, p.out, reinterpret_cast<void *>(make))];
    std::shared_ptr<const Weights> have = place.lock();
    if (!have) place = have = std::make_shared<const Weights>(make(p, w.ptr<float>()));
    return have;
}

// Rooms are kept for the next layer: fresh ones cost more than what is done in them. There are as many as threads at work.
std::mutex rooms_only;
std::vector<std::unique_ptr<Room>> rooms;

std::unique_ptr<Room> take_room() {
    std::lock_guard<std::mutex> lock(rooms_only);
    if (rooms.empty()) return std::unique_ptr<Room>(new Room);
    std::unique_ptr<Room> r = std::move(rooms.back());
    rooms.pop_back();
    return r;
}

void give_room(std::unique_ptr<Room> r) {
    std::lock_guard<std::mutex> lock(rooms_only);
    rooms.push_back(std::move(r));
}

// Fast is a layer of one input and one output, worked out part by part. It leaves no weights behind in params.
class Fast : public Layer {
  public:
    Fast(LayerParams &params, const Plan &plan, Weights (*make)(const Plan &, const float *)) : p(plan) {
        name = params.name, type = params.type;
        p.bias.assign(p.out, 0);
        if (params.blobs.size() > 1) std::copy_n(params.blobs[1].ptr<float>(), p.out, p.bias.begin());
        p.weights = shared(make, p, params.blobs[0]);
        params.blobs.clear();
    }
    bool supportBackend(int b) override { return b == cv::dnn::DNN_BACKEND_OPENCV; }
    bool getMemoryShapes(const std::vector<MatShape> &in, const int, std::vector<MatShape> &out, std::vector<MatShape> &) const override {
        if (in.size() != 1 || in[0].size() != 4 || in[0][1] != p.in || side(in[0][2]) < 1 || side(in[0][3]) < 1)
            CV_Error(cv::Error::StsUnmatchedSizes, "wrong input");
        out.assign(1, {in[0][0], p.out, side(in[0][2]), side(in[0][3])});
        return false;
    }
    void forward(cv::InputArrayOfArrays in, cv::OutputArrayOfArrays out, cv::OutputArrayOfArrays) override {
        std::vector<Mat> from, to;
        in.getMatVector(from);
        out.getMatVector(to);
        for (int b = 0; b < from[0].size[0]; b++) one(from[0].ptr<float>(b), to[0].ptr<float>(b), from[0].size[3], from[0].size[2]);
    }

  protected:
    virtual int side(int n) const = 0;
    virtual void one(const float *from, float *to, int w, int h) const = 0;

    // each calls f for 0 to n − 1, with room of its own for each thread.
    template <class F> static void each(int n, F f) {
        cv::parallel_for_(cv::Range(0, n), [&](const cv::Range &r) {
            std::unique_ptr<Room> room = take_room();
            for (int i = r.start; i < r.end; i++) f(i, *room);
            give_room(std::move(room));
        });
    }
    Plan p;
};

class Conv : public Fast {
  public:
    Conv(LayerParams &params, const Plan &p, bool tiles) : Fast(params, p, tiles ? for_tiles : for_direct), tiled(tiles) {}
    bool setActivation(const Ptr<cv::dnn::ActivationLayer> &a) override {
        Ptr<cv::dnn::ReLULayer> r = a.dynamicCast<cv::dnn::ReLULayer>();
        return p.relu = r && r->negativeSlope == 0;
    }

  private:
    int side(int n) const override { return p.side(n); }
    void one(const float *from, float *to, int w, int h) const override {
        if (tiled) {
            Tiles t(p, from, to, w, h);
            each(t.groups(), [&](int i, Room &r) { t.run(i, r); });
        } else {
            Direct d(p, from, to, w, h);
            each(d.oh, [&](int i, Room &r) { d.row(i, r.lines); });
        }
    }
    bool tiled;
};

class Double : public Fast {
  public:
    Double(LayerParams &params, const Plan &p) : Fast(params, p, for_doubling) {}

  private:
    int side(int n) const override { return 2 * n; }
    void one(const float *from, float *to, int w, int h) const override {
        Doubling d{p, from, to, w, h};
        each(h, [&](int i, Room &r) { d.row(i, r.lines); });
    }
};

bool all(const std::vector<size_t> &v, size_t n) { return v.size() == 2 && v[0] == n && v[1] == n; }

// fits reports whether weights of n × n are there and all else is plain.
bool fits(const LayerParams &params, const cv::dnn::BaseConvolutionLayer &l, size_t n) {
    return usable() && all(l.kernel_size, n) && params.get<int>("group", 1) == 1 && l.padMode.empty() && !params.blobs.empty() &&
           params.blobs[0].type() == CV_32F && params.blobs[0].dims == 4 && params.blobs[0].isContinuous() &&
           (params.blobs.size() == 1 || params.blobs[1].type() == CV_32F);
}

Ptr<Layer> conv(LayerParams &params) {
    Ptr<cv::dnn::BaseConvolutionLayer> l = cv::dnn::ConvolutionLayer::create(params);
    if (!fits(params, *l, 3) || l->strides.size() != 2 || l->dilations.size() != 2 || l->pads_begin.size() != 2) return l;
    Plan p;
    p.out = params.blobs[0].size[0], p.in = params.blobs[0].size[1];
    p.step = int(l->strides[0]), p.hole = int(l->dilations[0]), p.pad = int(l->pads_begin[0]);
    if (!all(l->strides, p.step) || !all(l->dilations, p.hole) || !all(l->pads_begin, p.pad) || !all(l->pads_end, p.pad) || p.pad > p.hole) return l;
    return Ptr<Layer>(new Conv(params, p, p.step == 1 && p.hole == 1 && p.pad == 1));
}

Ptr<Layer> transposed(LayerParams &params) {
    Ptr<cv::dnn::BaseConvolutionLayer> l = cv::dnn::DeconvolutionLayer::create(params);
    if (!fits(params, *l, 2) || !all(l->strides, 2) || !all(l->dilations, 1) || !all(l->pads_begin, 0) || !all(l->pads_end, 0) ||
        !all(l->adjust_pads, 0))
        return l;
    Plan p;
    p.in = params.blobs[0].size[0], p.out = params.blobs[0].size[1];
    return Ptr<Layer>(new Double(params, p));
}

}  // namespace

void vis::fast_layers() {
    if (CV_VERSION_MAJOR > 4 || CV_VERSION_MINOR >= 7) return;
    static std::once_flag once;
    std::call_once(once, [] {
        cv::dnn::LayerFactory::registerLayer("Convolution", conv);
        cv::dnn::LayerFactory::registerLayer("Deconvolution", transposed);
    });
}
