import java.math.BigDecimal;
import java.util.List;
import org.openapitools.client.ApiClient;
import org.openapitools.client.ApiException;
import org.openapitools.client.api.RecommendationsApi;
import org.openapitools.client.model.Answer;
import org.openapitools.client.model.JobInput;
import org.openapitools.client.model.SheetInput;

public class Ask {
    public static void main(String[] arguments) throws ApiException {
        RecommendationsApi api = new RecommendationsApi(new ApiClient().setScheme("http").setHost("127.0.0.1").setPort(Integer.parseInt(arguments[0])));
        Answer answer = api.recommendForJob(job("copy-paper"));
        String code = null;
        try {
            api.recommendForJob(job("coppy-paper"));
        } catch (ApiException error) {
            code = error.getResponseBody().contains("unknown-material") ? "unknown-material" : error.getResponseBody();
        }
        String head = answer.getRecommendations().get(0).getSetups().get(0).getDetectorClass().getPrinciple();
        System.out.println(answer.getVerdict() + " " + head + " " + code);
    }

    private static JobInput job(String material) {
        return new JobInput().limit(1).sheets(List.of(new SheetInput().material(material).grammageGsm(new BigDecimal(80))));
    }
}
